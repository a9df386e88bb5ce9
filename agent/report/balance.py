"""The day's sun and heat: sunshine with and without shade by the hour, temperatures against their limits."""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from math import nan
from zoneinfo import ZoneInfo

import numpy as np

from agent.heat.exposure import clear_sun, sun_under_cloud
from agent.job import Job
from agent.link_plan import Sunshine
from agent.plan.span import Span
from agent.records import AnyReading, Note, Temperature, Weather
from agent.report.actions import UNNAMED_UNIT
from agent.report.steps import steps
from agent.watch.weather_watch import CURRENT_S

MINUTE_S = 60.0
HOUR_S = 3600.0
# A unit this close to its limit had no room for a warmer hour.
NEAR_LIMIT_K = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class SunHour:
    """Sunshine on the transmitter in one hour of the site's clock (minutes), without shade and kept off.

    `peak_degc` is the transmitter's highest reading in it, NaN without one.
    """

    start_unix_s: float
    unshaded_min: float
    shaded_min: float
    peak_degc: float


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitHeat:
    """One thermometer within the span; NaN where it did not report, and for the limit of the air.

    `known_s` is the time its readings stand for, `over_s` and `near_s` the time over the limit and the time
    over or within 5 °C of it.
    """

    where: str
    limit_degc: float
    peak_degc: float
    peak_unix_s: float
    median_degc: float
    known_s: float
    over_s: float
    near_s: float

    @property
    def margin_k(self) -> float:
        """What was left to the limit at the hottest moment; negative: it was over."""
        return self.limit_degc - self.peak_degc


@dataclass(frozen=True, slots=True, kw_only=True)
class Balance:
    """`hours` cover the span; `sky_measured` where a weather reading told of cloud or irradiance."""

    hours: tuple[SunHour, ...]
    transmitter: UnitHeat
    modem: UnitHeat
    air: UnitHeat
    sky_measured: bool

    @property
    def unshaded_s(self) -> float:
        """Sunshine on the unshaded transmitter over the span (s)."""
        return MINUTE_S * sum(hour.unshaded_min for hour in self.hours)

    @property
    def shaded_s(self) -> float:
        """Sunshine kept off the transmitter over the span (s)."""
        return MINUTE_S * sum(hour.shaded_min for hour in self.hours)


def balance(readings: Sequence[AnyReading], sunshine: Sunshine, job: Job, span: Span) -> Balance:
    """Sun and heat over `span`; the sky is the plan's clear one under the cloud that was reported."""
    temperatures = [one for one in readings if isinstance(one, Temperature)]
    sky = [one for one in readings if isinstance(one, Weather) and _tells_of_sky(one)]
    shade = [one for one in readings if isinstance(one, Note) and _is_about_shade(one)]
    minutes = _sunny_minutes(sunshine, sky, shade, span)
    courses = {where: _course(readings, where) for where in ("transmitter", "modem", "ambient")}
    limits = {"transmitter": job.transmitter.limit_degc, "modem": job.modem.limit_degc}
    units = {where: _unit(where, course, limits.get(where, nan), span) for where, course in courses.items()}
    return Balance(
        hours=_hours(minutes, temperatures, ZoneInfo(job.site.time_zone), span),
        transmitter=units["transmitter"],
        modem=units["modem"],
        air=units["ambient"],
        sky_measured=bool(sky),
    )


def _tells_of_sky(weather: Weather) -> bool:
    return weather.cloud_percent is not None or weather.irradiance_w_m2 is not None


def _is_about_shade(note: Note) -> bool:
    return note.kind in ("shade-on", "shade-off") and note.where in (None, UNNAMED_UNIT)


def _sunny_minutes(
    sunshine: Sunshine, sky: Sequence[Weather], shade: Sequence[Note], span: Span
) -> list[tuple[float, bool]]:
    """The middles of the span's minutes with sunshine, and whether the transmitter was shaded then."""
    sky_times, shade_times = [one.unix_s for one in sky], [one.unix_s for one in shade]
    found: list[tuple[float, bool]] = []
    for moment in np.arange(span.start_unix_s + 0.5 * MINUTE_S, span.end_unix_s, MINUTE_S).tolist():
        clear = clear_sun(sunshine, moment)
        if clear is None:
            continue
        latest = bisect_right(sky_times, moment) - 1
        if latest >= 0 and moment - sky_times[latest] <= CURRENT_S:
            clear = sun_under_cloud(clear, sky[latest].cloud_percent, sky[latest].irradiance_w_m2)
        if clear.shining:
            last_note = bisect_right(shade_times, moment) - 1
            found.append((moment, last_note >= 0 and shade[last_note].kind == "shade-on"))
    return found


def _hours(
    minutes: Sequence[tuple[float, bool]], temperatures: Sequence[Temperature], zone: ZoneInfo, span: Span
) -> tuple[SunHour, ...]:
    hours: list[SunHour] = []
    start = datetime.fromtimestamp(span.start_unix_s, zone).replace(minute=0, second=0, microsecond=0)
    for start_unix_s in np.arange(start.timestamp(), span.end_unix_s, HOUR_S).tolist():
        hour = Span(start_unix_s, start_unix_s + HOUR_S)
        shaded = [is_shaded for moment, is_shaded in minutes if hour.contains(moment)]
        warm = [
            one.temperature_degc
            for one in temperatures
            if one.where == UNNAMED_UNIT and hour.contains(one.unix_s) and span.contains(one.unix_s)
        ]
        hours.append(
            SunHour(
                start_unix_s=hour.start_unix_s,
                unshaded_min=float(shaded.count(False)),
                shaded_min=float(shaded.count(True)),
                peak_degc=max(warm, default=nan),
            )
        )
    return tuple(hours)


def _course(readings: Sequence[AnyReading], where: str) -> list[tuple[float, float]]:
    """Times and temperatures (deg C); the air's are the weather station's where no thermometer has them."""
    course = [
        (one.unix_s, one.temperature_degc)
        for one in readings
        if isinstance(one, Temperature) and one.where == where
    ]
    if where != "ambient" or course:
        return course
    return [
        (one.unix_s, one.air_degc)
        for one in readings
        if isinstance(one, Weather) and one.air_degc is not None
    ]


def _unit(where: str, course: Sequence[tuple[float, float]], limit_degc: float, span: Span) -> UnitHeat:
    within = [(value, unix_s) for unix_s, value in course if span.contains(unix_s)]
    peak_degc, peak_unix_s = max(within, key=lambda pair: pair[0], default=(nan, nan))
    times = [unix_s for unix_s, _ in course]
    near = steps(times, [value >= limit_degc - NEAR_LIMIT_K for _, value in course], span)
    over = steps(times, [value > limit_degc for _, value in course], span)
    return UnitHeat(
        where=where,
        limit_degc=limit_degc,
        peak_degc=peak_degc,
        peak_unix_s=peak_unix_s,
        median_degc=float(np.median([value for value, _ in within])) if within else nan,
        known_s=over.known_s,
        over_s=over.good_s if over.known_s else nan,
        near_s=near.good_s if near.known_s else nan,
    )
