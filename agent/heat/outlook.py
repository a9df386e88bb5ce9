"""Heat of the day on the outdoor transmitter, before the job: sunny hours, temperature, when to shade.

The rule of thumb (common practice) counts unshaded sunshine: under one hour is no concern, one to two hours
advise a shade, longer demands one, and for a job of more than two sunny hours it lies ready. It knows
nothing of the unit at hand; the thermal model's defaults know only its kind. Both are estimates. Where the
air is known and the model keeps an ample margin all day, the rule of thumb has nothing to say.
"""

from dataclasses import replace
from math import ceil, exp
from zoneinfo import ZoneInfo

from agent.heat.exposure import Sun, clear_sun
from agent.heat.thermal import (
    AIR_GUESS_DEGC,
    GAIN_PRIOR_K_PER_W_M2,
    OFFSET_PRIOR_K,
    SHADED_SHARE,
    TAU_PRIOR_MIN,
)
from agent.job import Day, Job
from agent.link_plan import (
    HeatOutlook,
    SunHour,
    SunPath,
    Sunshine,
)
from agent.wording import SAFE_ALL_DAY, SAFE_UNSHADED, Reader, worded

FINE_SUN_HOURS = 1.0  # common practice
LONG_SUN_HOURS = 2.0  # common practice
# A unit twice as warm above the air as the typical one of the forecast still stays below (judgement).
AMPLE_MARGIN_K = 30.0
HALF_CLOUDY = 0.5  # share of the sky covered; the beam gets through the rest of the time
_BY_TEMPERATURE = (
    "At {which} {air_degc:0} of air it would reach about {bare_degc:0} in the sun and {shaded_degc:0} under "
    "a shade; its limit is {limit_degc:0} (typical unit, several °C uncertain)."
)
MINUTE_S = 60.0
HOUR_S = 3600.0


def heat_outlook(
    job: Job, sunshine: Sunshine, sun_path: SunPath, air_degc: float | None = None
) -> HeatOutlook:
    """Outlook for the hours of the job; `sunshine` and `sun_path` have to cover them (ValueError if not).

    `air_degc` is the air temperature to expect at its highest; absent, 25 deg C is assumed and said.
    """
    minutes = _minutes(job.day, sunshine)
    sunny_min = [1.0 if sun.shining else 0.0 for sun in minutes]
    air = AIR_GUESS_DEGC if air_degc is None else air_degc
    bare_degc = _course_degc(minutes, air, 1.0)
    shaded_degc = _course_degc(minutes, air, SHADED_SHARE)
    sun_hours = sum(sunny_min) * MINUTE_S / HOUR_S
    ample = air_degc is not None and job.transmitter.limit_degc - max(bare_degc) >= AMPLE_MARGIN_K
    safe_min = None if ample else _safe_unshaded_min(sunny_min, bare_degc, job.transmitter.limit_degc)
    limit_degc = job.transmitter.limit_degc
    found = HeatOutlook(
        sun_hours=sun_hours,
        shade_advised=not ample and (sun_hours >= FINE_SUN_HOURS or max(bare_degc) >= limit_degc),
        reason="",
        sunshine=sunshine,
        sun_path=sun_path,
        half_cloudy_sun_hours=sun_hours * (1.0 - HALF_CLOUDY),
        hours=_hours(job.day, sunny_min, sun_path),
        air_degc=air,
        air_assumed=air_degc is None,
        transmitter_limit_degc=limit_degc,
        transmitter_peak_unshaded_degc=max(bare_degc),
        transmitter_peak_shaded_degc=max(shaded_degc),
        shade_by_unix_s=None if safe_min is None else job.day.start_unix_s + safe_min * MINUTE_S,
        safe_unshaded_min=safe_min,
    )
    return replace(found, reason=heat_reason(found, Reader(zone=ZoneInfo(job.site.time_zone))))


def ample_margin(outlook: HeatOutlook, warmer_k: float) -> bool:
    """Whether the transmitter needs no shade all day, in air warmer than was expected by so much."""
    below_k = outlook.transmitter_limit_degc - outlook.transmitter_peak_unshaded_degc
    needless = outlook.shade_by_unix_s is None and not outlook.air_assumed
    return needless and below_k - warmer_k >= AMPLE_MARGIN_K


def _minutes(day: Day, sunshine: Sunshine) -> list[Sun]:
    """The clear sun in the middle of every minute of the job."""
    count = max(1, ceil((day.end_unix_s - day.start_unix_s) / MINUTE_S))
    suns = [clear_sun(sunshine, day.start_unix_s + (i + 0.5) * MINUTE_S) for i in range(count)]
    covered = [sun for sun in suns if sun is not None]
    if len(covered) < count:
        raise ValueError(
            f"heat outlook: the clear-sky values cover {len(covered)} of the job's {count} minutes; "
            "compute them from the job's start to its end or longer"
        )
    return covered


def _course_degc(minutes: list[Sun], air_degc: float, share: float) -> list[float]:
    """Temperature after every minute when `share` of the sun arrives; it starts warm from its own heat."""
    pull = 1.0 - exp(-1.0 / TAU_PRIOR_MIN)
    temperature = air_degc + OFFSET_PRIOR_K
    course = []
    for sun in minutes:
        settled = air_degc + OFFSET_PRIOR_K + GAIN_PRIOR_K_PER_W_M2 * sun.global_w_m2 * share
        temperature += pull * (settled - temperature)
        course.append(temperature)
    return course


def _safe_unshaded_min(sunny_min: list[float], bare_degc: list[float], limit_degc: float) -> float | None:
    """Minutes from the start until the first sunny hour is full or the limit is reached."""
    total_min = 0.0
    for index, (sunny, degc) in enumerate(zip(sunny_min, bare_degc, strict=True)):
        total_min += sunny
        if total_min * MINUTE_S >= FINE_SUN_HOURS * HOUR_S or degc >= limit_degc:
            return index + 1.0
    return None


def _hours(day: Day, sunny_min: list[float], sun_path: SunPath) -> tuple[SunHour, ...]:
    per_hour = round(HOUR_S / MINUTE_S)
    hours = []
    for first in range(0, len(sunny_min), per_hour):
        part = sunny_min[first : first + per_hour]
        start_unix_s = day.start_unix_s + first * MINUTE_S
        middle_unix_s = start_unix_s + len(part) * MINUTE_S / 2.0
        index = round((middle_unix_s - sun_path.start_unix_s) / sun_path.step_s)
        hours.append(
            SunHour(
                start_unix_s=start_unix_s,
                sun_azimuth_deg=sun_path.azimuth_deg[index],
                sun_elevation_deg=sun_path.elevation_deg[index],
                clear_sunshine_min=sum(part),
                half_cloudy_sunshine_min=sum(part) * (1.0 - HALF_CLOUDY),
            )
        )
    return tuple(hours)


def heat_reason(outlook: HeatOutlook, reader: Reader) -> str:
    """The outlook in sentences, for this reader."""
    parts = [_by_the_sun(outlook), _BY_TEMPERATURE]
    if outlook.transmitter_peak_shaded_degc >= outlook.transmitter_limit_degc:
        parts.append("The shade alone is not enough: add moving air, or ask the operator for less power.")
    figures: dict[str, float | str] = {
        "sun_hours": outlook.sun_hours,
        "which": "an assumed" if outlook.air_assumed else "the expected",
        "air_degc": outlook.air_degc,
        "bare_degc": outlook.transmitter_peak_unshaded_degc,
        "shaded_degc": outlook.transmitter_peak_shaded_degc,
        "limit_degc": outlook.transmitter_limit_degc,
    }
    if outlook.shade_by_unix_s is None:
        parts.append(f"{SAFE_ALL_DAY}.")
    else:
        figures["until_unix_s"] = outlook.shade_by_unix_s
        parts.append(f"{SAFE_UNSHADED}.")
    return worded(" ".join(parts), figures, reader)


def _by_the_sun(outlook: HeatOutlook) -> str:
    hours = "{sun_hours:1} sunny hours on the transmitter under a clear sky"
    if outlook.sun_hours >= FINE_SUN_HOURS and outlook.shade_by_unix_s is None:
        return f"{hours}."
    if outlook.sun_hours > LONG_SUN_HOURS:
        return f"{hours}, more than {LONG_SUN_HOURS:.0f}: have a shade ready from the start (rule of thumb)."
    if outlook.sun_hours >= FINE_SUN_HOURS:
        return f"{hours}: a shade is advised after the first hour of sun (rule of thumb)."
    return f"{hours}, under {FINE_SUN_HOURS:.0f}: no concern by the rule of thumb."
