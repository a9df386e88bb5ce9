"""Settings that are allowed but look like a slip of the pen: each as a sentence with what to check."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from math import asin, cos, log10, radians, sin, sqrt
from zoneinfo import ZoneInfo

from agent.job import Job, Site
from agent.link_plan import Budget
from agent.plan.antenna import efficiency_from_gain
from agent.plan.constants import WGS84_SEMI_MAJOR_M
from agent.plan.geometry import look_angles
from agent.plan.links import Link

# A data sheet's power in dBm, read as watts, falls into this range for the usual 1 to 100 W.
DBM_LIKE_W = (30.0, 50.0)
# Between receiver and modem the carrier is moved down to 950 to 2150 MHz (common practice).
INTERMEDIATE_GHZ = (0.95, 2.15)
# Downlink and uplink of the fixed and mobile satellite services (GHz), from the widest allocations of the
# Radio Regulations, article 5 (from memory).
BAND_PAIRS = {
    "L band": ((1.518, 1.559), (1.6265, 1.675)),
    "S band": ((2.17, 2.2), (1.98, 2.01)),
    "C band": ((3.4, 4.8), (5.725, 7.075)),
    "X band": ((7.25, 7.75), (7.9, 8.4)),
    "Ku band": ((10.7, 12.75), (12.75, 14.8)),
    "Ku band, feeder links of broadcasting": ((10.7, 12.75), (17.3, 18.4)),
    "Ka band": ((17.3, 21.2), (27.0, 31.0)),
    "Q and V band": ((37.5, 42.5), (42.5, 52.4)),
}
UNLIKELY_MARGIN_DB = 15.0  # no operator sells so much more power than a carrier needs (common practice)
TRANSPONDER_MHZ = 36.0  # the commonest bandwidth of a transponder (common practice)
USUAL_EFFICIENCY = 0.85  # the best reflectors stay below it; 0.55 to 0.75 is usual (common practice)
# Output back-off of a solid-state transmitter that these constellations want (common practice, within 1 dB).
BACK_OFF_DB = {
    "16APSK": 2.5, "16QAM": 2.5, "32APSK": 4.0, "64APSK": 5.0, "128APSK": 6.0, "256APSK": 7.0,
}  # fmt: skip
LONG_JOB_H = 48.0
# The sun's time and a zone's standard time are nowhere farther apart (Kashgar keeps Beijing's clock: 3 h).
ZONE_APART_DEG = 52.5
ZONE_DEG_PER_HOUR = 15.0
# A zone's main place is nowhere farther from the places that keep it, but for some islands and Siberia.
ZONE_REACH_KM = 4_500.0
# Valleys and peaks differ so much from the mean height of half a degree.
HEIGHT_APART_M = 1_500.0


def hidden_satellite_slips(job: Job) -> list[str]:
    """What would bring a hidden satellite over the horizon: coordinates swapped or with the wrong sign."""
    east_deg = job.satellite.longitude_deg
    readings = [(change, place, east_deg) for change, place in _other_readings(job.site)]
    here = (job.site.latitude_deg, job.site.longitude_deg)
    readings.append(("the sign of satellite.longitude_deg turned", here, -east_deg))
    found = []
    for change, place, satellite_deg in readings:
        elevation_deg = float(look_angles(*place, job.site.height_m, satellite_deg).elevation_deg)
        if elevation_deg > 0.0:
            found.append(f"With {change} it would stand {elevation_deg:.0f}° high: is that the slip?")
    return found


def _other_readings(site: Site) -> list[tuple[str, tuple[float, float]]]:
    """What the site's coordinates may have been meant to be."""
    latitude_deg, longitude_deg = site.latitude_deg, site.longitude_deg
    readings = [
        ("the sign of site.latitude_deg turned", (-latitude_deg, longitude_deg)),
        ("the sign of site.longitude_deg turned", (latitude_deg, -longitude_deg)),
    ]
    if abs(longitude_deg) <= 90.0:
        readings.append(("latitude and longitude of the site swapped", (longitude_deg, latitude_deg)))
    return readings


def place_slips(job: Job, zone_place: tuple[float, float] | None) -> list[str]:
    """Does the site lie where its time zone is kept? `zone_place`: the zone's main place (deg), if known."""
    site = job.site
    if zone_place is not None:
        away_km = _distance_km((site.latitude_deg, site.longitude_deg), zone_place)
        for change, place in _other_readings(site):
            if away_km > 1_000.0 and _distance_km(place, zone_place) < away_km / 3.0:
                return [_mirrored(site, away_km, change, _distance_km(place, zone_place))]
        if away_km > ZONE_REACH_KM:
            return [_far_from_zone(site, f"{away_km:.0f} km from the main place of")]
    clock_deg = _standard_offset_h(job) * ZONE_DEG_PER_HOUR
    apart_deg = abs((site.longitude_deg - clock_deg + 180.0) % 360.0 - 180.0)
    if "/" in site.time_zone and not site.time_zone.startswith("Etc/") and apart_deg > ZONE_APART_DEG:
        return [_far_from_zone(site, f"{apart_deg:.0f}° of longitude from the clock of")]
    return []


def _mirrored(site: Site, away_km: float, change: str, near_km: float) -> str:
    return (
        f"The site lies {away_km:.0f} km from the main place of its time zone, {site.time_zone}; with "
        f"{change} it lies {near_km:.0f} km from it: is that the slip?"
    )


def _far_from_zone(site: Site, apart: str) -> str:
    return (
        f"The site lies {apart} its time zone, {site.time_zone}: check site.longitude_deg and site.time_zone."
    )


def _standard_offset_h(job: Job) -> float:
    moment = datetime.fromtimestamp(job.day.start_unix_s, UTC).astimezone(ZoneInfo(job.site.time_zone))
    return ((moment.utcoffset() or timedelta()) - (moment.dst() or timedelta())) / timedelta(hours=1)


def _distance_km(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Great-circle distance between latitudes and longitudes (deg), 0.5 % accurate (spherical earth)."""
    half = [radians(right - left) / 2.0 for left, right in zip(one, other, strict=True)]
    chord = sin(half[0]) ** 2 + cos(radians(one[0])) * cos(radians(other[0])) * sin(half[1]) ** 2
    return 2.0 * WGS84_SEMI_MAJOR_M / 1e3 * asin(sqrt(min(1.0, chord)))


def height_slips(job: Job, ground_m: float) -> list[str]:
    """Is the site as high as the ground there is on a coarse map (m, ITU-R P.1511)?"""
    height_m = job.site.height_m
    if abs(height_m - ground_m) <= HEIGHT_APART_M:
        return []
    feet = f"; if that is in feet, write {height_m * 0.3048:.0f}" if height_m > ground_m else ""
    ground = f"the ground there is about {ground_m:.0f} m above the sea on a coarse map"
    return [f"site.height_m = {height_m:g}, but {ground}: check it{feet}."]


def job_slips(job: Job) -> list[str]:
    """What looks wrong in the job by itself."""
    return [*_frequency_slips(job), *_terminal_slips(job), *_power_slips(job), *_service_slips(job)]


def _frequency_slips(job: Job) -> Iterator[str]:
    down_ghz, up_ghz = job.downlink.frequency_ghz, job.uplink.frequency_ghz
    low_ghz, high_ghz = INTERMEDIATE_GHZ
    bands = (_bands(down_ghz, 0), _bands(up_ghz, 1))
    if bands[0] & bands[1]:
        return
    between = [
        name for name, ghz in (("downlink", down_ghz), ("uplink", up_ghz)) if low_ghz <= ghz <= high_ghz
    ]
    if between:
        yield (
            f"{' and '.join(between)}.frequency_ghz is in the range of the intermediate frequency between "
            "modem and dish (0.95 to 2.15 GHz): write the frequency on the way to and from the satellite."
        )
    elif up_ghz < down_ghz:
        yield (
            f"An uplink at {up_ghz:g} GHz and a downlink at {down_ghz:g} GHz: no band has it this way round; "
            "are they swapped?"
        )
    else:
        yield (
            f"A downlink at {down_ghz:g} GHz and an uplink at {up_ghz:g} GHz are no pair of one band: check "
            "both with the operator's transmission plan."
        )


def _bands(frequency_ghz: float, way: int) -> set[str]:
    """The bands that have this frequency on the way down (0) or up (1)."""
    return {name for name, pair in BAND_PAIRS.items() if pair[way][0] <= frequency_ghz <= pair[way][1]}


def _terminal_slips(job: Job) -> Iterator[str]:
    power_w, dish = job.transmitter.power_w, job.antenna
    if DBM_LIKE_W[0] <= power_w <= DBM_LIKE_W[1]:
        yield (
            f"transmitter.power_w = {power_w:g} is much for a transportable terminal: if the data sheet says "
            f"{power_w:g} dBm, write {10.0 ** (power_w / 10.0) / 1000.0:.3g}."
        )
    for name, gain_dbi, frequency_ghz in (
        ("receive", dish.receive_gain_dbi, job.downlink.frequency_ghz),
        ("transmit", dish.transmit_gain_dbi, job.uplink.frequency_ghz),
    ):
        if gain_dbi is None:
            continue
        efficiency = float(efficiency_from_gain(gain_dbi, dish.diameter_m, frequency_ghz))
        if efficiency > USUAL_EFFICIENCY:
            yield (
                f"antenna.{name}_gain_dbi = {gain_dbi:g} is more than a dish of {dish.diameter_m:g} m has at "
                f"{frequency_ghz:g} GHz (it would be {efficiency:.0%} efficient): check gain, diameter and "
                "frequency."
            )
    if dish.efficiency is not None and dish.efficiency > USUAL_EFFICIENCY:
        yield (
            f"antenna.efficiency = {dish.efficiency:g} is more than dishes have (0.55 to 0.75 is usual): "
            "check it."
        )


def _power_slips(job: Job) -> Iterator[str]:
    transmitter, raised_db = job.transmitter, job.uplink.power_control_db
    if raised_db is not None and raised_db > transmitter.output_back_off_db:
        yield (
            f"uplink.power_control_db = {raised_db:g} is more than the back-off of "
            f"{transmitter.output_back_off_db:g} dB leaves: only that much is counted."
        )


def _service_slips(job: Job) -> Iterator[str]:
    if job.service.stream_mbps > job.service.up_mbps:
        yield over_booked(job)
    hours = (job.day.end_unix_s - job.day.start_unix_s) / 3600.0
    if hours > LONG_JOB_H:
        yield f"The job lasts {hours:.0f} hours: are day.start and day.end right?"


def over_booked(job: Job) -> str:
    """The stream needs more than was booked."""
    return (
        f"The stream of {job.service.stream_mbps:g} Mbit/s is more than the booked uplink of "
        f"{job.service.up_mbps:g} Mbit/s: book more, or check service.stream_mbps."
    )


def budget_slips(link: Link, budget: Budget, back_off_db: float) -> list[str]:
    """What looks wrong in what one direction comes to; `back_off_db` is the transmitter's."""
    found = []
    if budget.margin_db > UNLIKELY_MARGIN_DB:
        found.append(_unlikely_margin(link, budget))
    if link.name == "uplink":
        found += _back_off_slips(back_off_db, budget)
    interference_db = budget.interference_cn_db
    if interference_db is not None and interference_db <= budget.required_esno_db:
        found.append(
            f"{link.name}.interference_cn_db = {interference_db:g} alone keeps the booked rate from being "
            f"carried: it needs {budget.required_esno_db:.1f} dB. Check it with the operator."
        )
    return found


def _back_off_slips(back_off_db: float, budget: Budget) -> list[str]:
    """Does the transmitter have the linearity that the MODCOD in use wants?"""
    modulation = (budget.modcod_clear or "").split(" ")[0]
    needed_db = BACK_OFF_DB.get(modulation, 0.0)
    if back_off_db >= needed_db:
        return []
    modcod = f"The uplink would use {budget.modcod_clear} with {back_off_db:g} dB of back-off"
    wanted = f"{modulation} wants about {needed_db:g} dB"
    remedy = "raise transmitter.output_back_off_db, or set uplink.highest_modcod to what the operator allows"
    return [f"{modcod}; {wanted}: {remedy}."]


def _unlikely_margin(link: Link, budget: Budget) -> str:
    margin = f"A margin of {budget.margin_db:.0f} dB on the {link.name} is more than any operator sells"
    if link.name == "uplink":
        return f"{margin}: check transmitter.power_w, antenna and uplink.satellite_gt_dbk."
    carrier_mhz = link.symbol_rate_msps * (1.0 + link.roll_off)
    share_db = 10.0 * log10(TRANSPONDER_MHZ / carrier_mhz)
    hint = (
        f"; if it is, a carrier of {carrier_mhz:.1f} MHz in {TRANSPONDER_MHZ:.0f} MHz gets some "
        f"{share_db:.0f} dB less, besides the transponder's back-off"
        if share_db > 0.0
        else ""
    )
    return f"{margin}: is downlink.eirp_dbw that of the whole transponder{hint}?"
