"""Sun, satellite direction, clouds, air and wind of an invented day."""

from dataclasses import dataclass
from itertools import accumulate
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from agent.job import Site

FloatArray: TypeAlias = NDArray[np.float64]

J2000_UNIX_S = 946_728_000.0  # 2000-01-01T12:00:00Z, the zero of the formulas below.
EARTH_RADIUS_M = 6_378_137.0  # WGS 84.
EARTH_FLATTENING = 1.0 / 298.257223563  # WGS 84.
GEOSTATIONARY_RADIUS_M = 42_164_000.0  # Common value of handbooks (from memory).
SOLAR_CONSTANT_W_M2 = 1353.0  # As in Meinel's formula below.


@dataclass(frozen=True, slots=True, kw_only=True)
class SkyKind:
    """The day's weather without the episodes: air from low (near sunrise) to high (mid afternoon).

    `sun_activity` is the sun's radio noise over that of a quiet sun.
    """

    air_low_degc: float
    air_high_degc: float
    cloud_fraction: float
    wind_m_s: float
    humidity_percent: float
    sun_activity: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Sky:
    """The weather at every instant of the day; irradiances in W/m2, `cloud` from 0 to 1."""

    sun_elevation_deg: FloatArray
    sun_azimuth_deg: FloatArray
    direct_w_m2: FloatArray
    diffuse_w_m2: FloatArray
    cloud: FloatArray
    air_degc: FloatArray
    wind_m_s: FloatArray
    gust_m_s: FloatArray
    humidity_percent: FloatArray


def wander(rng: np.random.Generator, count: int, tau_s: float, step_s: float = 1.0) -> FloatArray:
    """A random walk that forgets over `tau_s` (Ornstein-Uhlenbeck), mean 0 and standard deviation 1."""
    keep = float(np.exp(-step_s / tau_s))
    kicks = rng.standard_normal(count) * np.sqrt(1.0 - keep * keep)
    start = float(rng.standard_normal())
    steps = accumulate(kicks.tolist(), lambda level, kick: keep * level + kick, initial=start)
    return np.fromiter(steps, dtype=np.float64, count=count + 1)[1:]


def sun_angles_deg(unix_s: FloatArray, site: Site) -> tuple[FloatArray, FloatArray]:
    """Azimuth (from north over east) and geometric elevation of the sun, degrees, good to 0.02 degrees.

    Low-precision formulas of the Astronomical Almanac, page C5 (from memory); valid 1950 to 2050.
    """
    days = (unix_s - J2000_UNIX_S) / 86_400.0
    anomaly = np.radians(357.528 + 0.9856003 * days)
    longitude = np.radians(
        280.460 + 0.9856474 * days + 1.915 * np.sin(anomaly) + 0.020 * np.sin(2.0 * anomaly)
    )
    tilt = np.radians(23.439 - 4.0e-7 * days)
    ascension = np.arctan2(np.cos(tilt) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(tilt) * np.sin(longitude))
    sidereal_deg = (280.46062 + 360.985647366 * days) % 360.0
    hour_angle = np.radians(sidereal_deg + site.longitude_deg) - ascension
    latitude = np.radians(site.latitude_deg)
    up = np.sin(latitude) * np.sin(declination) + np.cos(latitude) * np.cos(declination) * np.cos(hour_angle)
    east = -np.cos(declination) * np.sin(hour_angle)
    north = np.cos(latitude) * np.sin(declination) - np.sin(latitude) * np.cos(declination) * np.cos(
        hour_angle
    )
    return np.degrees(np.arctan2(east, north)) % 360.0, np.degrees(np.arcsin(np.clip(up, -1.0, 1.0)))


def satellite_angles(site: Site, satellite_longitude_deg: float) -> tuple[float, float, float]:
    """Azimuth and elevation (degrees) and distance (m) of a geostationary satellite, on WGS 84."""
    latitude = np.radians(site.latitude_deg)
    away = np.radians(satellite_longitude_deg - site.longitude_deg)
    squared_eccentricity = EARTH_FLATTENING * (2.0 - EARTH_FLATTENING)
    normal_m = EARTH_RADIUS_M / np.sqrt(1.0 - squared_eccentricity * np.sin(latitude) ** 2)
    across_m = (normal_m + site.height_m) * np.cos(latitude)
    polar_m = (normal_m * (1.0 - squared_eccentricity) + site.height_m) * np.sin(latitude)
    x, y, z = (
        GEOSTATIONARY_RADIUS_M * np.cos(away) - across_m,
        GEOSTATIONARY_RADIUS_M * np.sin(away),
        -polar_m,
    )
    up = np.cos(latitude) * x + np.sin(latitude) * z
    north = -np.sin(latitude) * x + np.cos(latitude) * z
    distance_m = float(np.sqrt(x * x + y * y + z * z))
    azimuth_deg = float(np.degrees(np.arctan2(y, north)) % 360.0)
    return azimuth_deg, float(np.degrees(np.arcsin(up / distance_m))), distance_m


def separation_deg(
    azimuth_deg: FloatArray, elevation_deg: FloatArray, azimuth_to_deg: float, elevation_to_deg: float
) -> FloatArray:
    """Angle between directions, degrees, 0 to 180, by the haversine (exact for small angles)."""
    a, b = np.radians(elevation_deg), np.radians(elevation_to_deg)
    half_up = np.sin((a - b) / 2.0) ** 2
    half_across = np.sin(np.radians(azimuth_deg - azimuth_to_deg) / 2.0) ** 2
    angle: FloatArray = np.degrees(2.0 * np.arcsin(np.sqrt(half_up + np.cos(a) * np.cos(b) * half_across)))
    return angle


def clear_direct_w_m2(sun_elevation_deg: FloatArray) -> FloatArray:
    """Direct normal irradiance under a clear sky, W/m2, 0 while the sun is down.

    Meinel and Meinel 1976, 1353 * 0.7 ** (air mass ** 0.678); air mass: Kasten and Young 1989 (from memory).
    """
    above_deg = np.maximum(sun_elevation_deg, 0.0)
    air_mass = 1.0 / (np.sin(np.radians(above_deg)) + 0.50572 * (above_deg + 6.07995) ** -1.6364)
    return np.where(sun_elevation_deg > 0.0, SOLAR_CONSTANT_W_M2 * 0.7 ** (air_mass**0.678), 0.0)


def _cloud(rng: np.random.Generator, fraction: float, count: int) -> FloatArray:
    """Cumulus that comes and goes over some ten minutes, in front of the sun for `fraction` of the time."""
    if fraction <= 0.0:
        return np.zeros(count)
    field = wander(rng, count, 900.0) + 0.3 * wander(rng, count, 90.0)
    edge = np.quantile(field, 1.0 - min(fraction, 1.0))
    return np.asarray(1.0 / (1.0 + np.exp(-8.0 * (field - edge))), dtype=np.float64)


def weather_of(
    rng: np.random.Generator, kind: SkyKind, unix_s: FloatArray, site: Site, rain_share: FloatArray
) -> Sky:
    """The sky at each of `unix_s` (1 s apart); `rain_share` (0 to 1) covers the sun and cools the air."""
    count = len(unix_s)
    azimuth_deg, elevation_deg = sun_angles_deg(unix_s, site)
    cloud = np.maximum(_cloud(rng, kind.cloud_fraction, count), rain_share)
    direct = clear_direct_w_m2(elevation_deg)
    sun_height = np.sin(np.radians(np.maximum(elevation_deg, 0.0)))
    # Ten to a third of the light comes from the sky, the more the more cloud (common practice).
    diffuse = direct * sun_height * (0.10 + 0.25 * cloud)
    solar_hour = (unix_s / 3600.0 + site.longitude_deg / 15.0) % 24.0
    warm = 0.5 * (1.0 + np.cos(2.0 * np.pi * (solar_hour - 15.0) / 24.0))
    air = kind.air_low_degc + (kind.air_high_degc - kind.air_low_degc) * warm
    air += 0.4 * wander(rng, count, 1800.0) - 5.0 * rain_share - 0.8 * cloud
    breeze = kind.wind_m_s * (0.6 + 0.4 * warm) * np.exp(0.35 * wander(rng, count, 120.0))
    return Sky(
        sun_elevation_deg=elevation_deg,
        sun_azimuth_deg=azimuth_deg,
        direct_w_m2=direct * (1.0 - 0.95 * cloud),
        diffuse_w_m2=diffuse,
        cloud=cloud,
        air_degc=air,
        wind_m_s=breeze,
        gust_m_s=breeze * (1.3 + 0.2 * np.abs(wander(rng, count, 300.0))),
        humidity_percent=np.clip(
            kind.humidity_percent
            + 15.0 * (0.5 - warm)
            + 30.0 * rain_share
            + 2.0 * wander(rng, count, 3600.0),
            5.0,
            100.0,
        ),
    )
