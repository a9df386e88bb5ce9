"""Sun passes: when the sun stands behind the satellite, and what its noise costs the downlink."""

from math import cos, radians

import numpy as np
from pvlib import atmosphere, spa

from agent.job import Site
from agent.link_plan import SUN_PASS_THRESHOLD_DB, SunPass
from agent.plan.constants import SECONDS_PER_DAY
from agent.plan.geometry import FloatArray, Numeric, look_angles
from agent.plan.sun_noise import BeamNoise, sun_loss_db

DELTA_T_S = 69.2  # TT - UT1 in 2025 (IERS Bulletin A); a second more or less moves the sun by 0.00001 deg
STANDARD_AIR_DEGC = 15.0  # ISO 2533, at sea level
HORIZON_REFRACTION_DEG = 0.5667  # 34 arc minutes, NREL/TP-560-34302
SUN_RATE_DEG_S = 360.0 / SECONDS_PER_DAY
EQUATION_OF_TIME_S = 1000.0  # never more than 16.5 minutes (Meeus, Astronomical Algorithms, chapter 28)
EQUATION_OF_TIME_DEG = EQUATION_OF_TIME_S * SUN_RATE_DEG_S
GRID_POINTS = 481  # of a day's search: 5 to 10 s apart for the beams of transportable dishes


def sun_passes(
    site: Site, satellite_longitude_deg: float, beam: BeamNoise, start_unix_s: float, end_unix_s: float
) -> tuple[SunPass, ...]:
    """All sun passes that touch the span, in order; none when the satellite is below the horizon.

    The dish is taken to point at the satellite. Directions are geometric for both, since the air bends both
    alike. The passes last as long as the loss is SUN_PASS_THRESHOLD_DB or more.
    """
    angles = look_angles(site.latitude_deg, site.longitude_deg, site.height_m, satellite_longitude_deg)
    reach_deg = _reach_deg(beam)
    if not angles.elevation_deg > 0.0 or reach_deg == 0.0:
        return ()
    satellite = _direction(angles.azimuth_true_deg, angles.elevation_deg)
    found = (
        _pass_near(site, satellite, beam, reach_deg, middle_unix_s)
        for middle_unix_s in _days(site, satellite, reach_deg, start_unix_s, end_unix_s)
    )
    return tuple(
        one for one in found if one and one.end_unix_s >= start_unix_s and one.start_unix_s <= end_unix_s
    )


def _reach_deg(beam: BeamNoise) -> float:
    """The separation at which the loss falls to the threshold (deg); 0 when it never gets there."""
    separation_deg = np.linspace(0.0, 4.0 * beam.beamwidth_deg + 1.0, 2000)
    over = np.flatnonzero(sun_loss_db(beam, separation_deg) > SUN_PASS_THRESHOLD_DB)
    return float(separation_deg[over[-1]]) if over.size else 0.0


def _direction(azimuth_deg: Numeric, elevation_deg: Numeric) -> FloatArray:
    """Unit vectors east, north, up on the last axis."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    return np.stack(
        [np.cos(elevation) * np.sin(azimuth), np.cos(elevation) * np.cos(azimuth), np.sin(elevation)], axis=-1
    )


def sun_angles_deg(site: Site, unix_s: FloatArray, refracted: bool = False) -> tuple[FloatArray, FloatArray]:
    """Azimuth and elevation of the sun's centre (deg) at these times, without or with standard refraction.

    Source: Reda and Andreas, Solar Position Algorithm, NREL/TP-560-34302 (2008), by pvlib; 0.0003 deg.
    """
    columns = spa.solar_position_numpy(
        np.asarray(unix_s, dtype=float),
        site.latitude_deg,
        site.longitude_deg,
        site.height_m,
        atmosphere.alt2pres(site.height_m) / 100.0,
        STANDARD_AIR_DEGC,
        DELTA_T_S,
        HORIZON_REFRACTION_DEG,
        1,
    )
    elevation_deg = columns[2] if refracted else columns[3]
    return np.asarray(columns[4], dtype=float), np.asarray(elevation_deg, dtype=float)


def _separation_deg(site: Site, satellite: FloatArray, unix_s: FloatArray) -> FloatArray:
    chord = np.linalg.norm(_direction(*sun_angles_deg(site, unix_s)) - satellite, axis=-1)
    separation_deg: FloatArray = np.degrees(2.0 * np.arcsin(np.minimum(chord / 2.0, 1.0)))
    return separation_deg


def _days(
    site: Site, satellite: FloatArray, reach_deg: float, start_unix_s: float, end_unix_s: float
) -> FloatArray:
    """Mean times of the sun's daily passage at the satellite's hour angle, on the days that can matter."""
    latitude = radians(site.latitude_deg)
    east, north, up = (float(value) for value in satellite)
    hour_angle_deg = float(np.degrees(np.arctan2(-east, up * cos(latitude) - north * np.sin(latitude))))
    offset_s = (180.0 + hour_angle_deg - site.longitude_deg) / SUN_RATE_DEG_S
    margin_s = EQUATION_OF_TIME_S + 2.0 * reach_deg / SUN_RATE_DEG_S
    first = np.floor((start_unix_s - margin_s - offset_s) / SECONDS_PER_DAY)
    last = np.ceil((end_unix_s + margin_s - offset_s) / SECONDS_PER_DAY)
    middles_unix_s = np.arange(first, last + 1.0) * SECONDS_PER_DAY + offset_s
    near = _separation_deg(site, satellite, middles_unix_s) < reach_deg + EQUATION_OF_TIME_DEG
    days_unix_s: FloatArray = middles_unix_s[near]
    return days_unix_s


def _pass_near(
    site: Site, satellite: FloatArray, beam: BeamNoise, reach_deg: float, middle_unix_s: float
) -> SunPass | None:
    half_s = EQUATION_OF_TIME_S + 1.2 * reach_deg / SUN_RATE_DEG_S
    unix_s = middle_unix_s + np.linspace(-half_s, half_s, GRID_POINTS)
    separation_deg = _separation_deg(site, satellite, unix_s)
    loss_db = sun_loss_db(beam, separation_deg)
    over = np.flatnonzero(loss_db > SUN_PASS_THRESHOLD_DB)
    nearest = int(np.argmin(separation_deg))
    # A pass of two grid steps or less is over in seconds; one cut by the grid's edge belongs to another day.
    if over.size < 3 or not over[0] < nearest < over[-1] or over[0] == 0 or over[-1] == GRID_POINTS - 1:
        return None
    # Squared separation is a parabola in time near the closest approach.
    low, middle, high = separation_deg[nearest - 1 : nearest + 2] ** 2
    step_s = unix_s[1] - unix_s[0]
    peak_unix_s = float(unix_s[nearest] + 0.5 * step_s * (low - high) / (low - 2.0 * middle + high))
    first, last = over[0], over[-1]
    return SunPass(
        start_unix_s=_crossing(loss_db[first - 1 : first + 1], unix_s[first - 1 : first + 1]),
        peak_unix_s=peak_unix_s,
        end_unix_s=_crossing(loss_db[last : last + 2][::-1], unix_s[last : last + 2][::-1]),
        depth_db=float(loss_db[nearest]),
    )


def _crossing(loss_db: FloatArray, unix_s: FloatArray) -> float:
    """Time at which the rising pair of losses passes the threshold."""
    return float(np.interp(SUN_PASS_THRESHOLD_DB, loss_db, unix_s))
