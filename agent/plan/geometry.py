"""Where the satellite stands in the sky of the site: look angles, polarisation skew, range and delay.

All angles are geometric (no refraction): the atmosphere lifts the true direction by about 0.1 deg at 10 deg
of elevation and less above, well inside the beam of a transportable dish. Longitudes are east positive.
"""

from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from agent.plan.constants import (
    GEOSTATIONARY_RADIUS_M,
    SPEED_OF_LIGHT_M_S,
    WGS84_FLATTENING,
    WGS84_SEMI_MAJOR_M,
)

FloatArray: TypeAlias = npt.NDArray[np.float64]
Numeric: TypeAlias = float | FloatArray

GRAZING_DEG = 10.0  # below it gas, rain and obstacles grow quickly; ITU-R P.618 is valid from 5 deg on
BENT_PIPE_LEGS = 4  # terminal, satellite, hub, satellite, terminal: one request and its answer


@dataclass(frozen=True, slots=True, kw_only=True)
class LookAngles:
    """Direction and distance from the site to the satellite; every field has the inputs' broadcast shape.

    `polarisation_skew_deg` (-180, 180]: looking from the site to the satellite, the satellite's north-south
    axis is turned clockwise from the local vertical by this angle. South of the equator the satellite is seen
    upside down, so that the angle is near 180; see `feed_rotation_deg`.
    """

    azimuth_true_deg: Numeric
    elevation_deg: Numeric
    slant_range_km: Numeric
    polarisation_skew_deg: Numeric
    one_way_delay_ms: Numeric

    @property
    def round_trip_delay_ms(self) -> Numeric:
        """Least time from request to answer by a hub at the same slant range (ms); processing is extra."""
        return BENT_PIPE_LEGS * self.one_way_delay_ms

    @property
    def feed_rotation_deg(self) -> Numeric:
        """Least turn of the feed for the same linear polarisation: the skew in (-90, 90] deg."""
        return _plain(90.0 - np.mod(90.0 - np.asarray(self.polarisation_skew_deg), 180.0))


def look_angles(
    latitude_deg: Numeric, longitude_deg: Numeric, height_m: Numeric, satellite_longitude_deg: Numeric
) -> LookAngles:
    """Look angles to a geostationary satellite, on the WGS 84 ellipsoid.

    Args (numbers or arrays that broadcast): geodetic latitude (deg, outside -90 to 90 gives NaN) and
    longitude (deg), height above the ellipsoid (m), longitude of the satellite (deg).
    Returns: azimuth 0 to 360 deg from true north through east, elevation -90 to 90 deg (negative: below the
    horizon), range (km), skew and one-way delay (ms); at the sub-satellite point the azimuth is 0. NaN in,
    NaN out.
    Source: geodetic to Cartesian and local east, north, up, as in Hofmann-Wellenhof et al., GNSS (2008),
    eqs 8.2 and 8.48; the skew is the orbit's north axis projected on the plane across the line of sight.
    """
    latitude_deg = np.asarray(latitude_deg, dtype=float)
    latitude = np.radians(np.where(np.abs(latitude_deg) <= 90.0, latitude_deg, np.nan))
    east_of_site = np.radians(np.asarray(satellite_longitude_deg, dtype=float) - longitude_deg)
    east_m, north_m, up_m = _line_of_sight_m(latitude, np.asarray(height_m, dtype=float), east_of_site)
    range_m = np.sqrt(east_m**2 + north_m**2 + up_m**2)
    azimuth = np.arctan2(east_m, north_m)
    elevation = np.arctan2(up_m, np.hypot(east_m, north_m))
    return LookAngles(
        azimuth_true_deg=_plain(np.mod(np.degrees(azimuth), 360.0) % 360.0),
        elevation_deg=_plain(np.degrees(elevation)),
        slant_range_km=_plain(range_m / 1e3),
        polarisation_skew_deg=_plain(_skew_deg(latitude, azimuth, elevation)),
        one_way_delay_ms=_plain(range_m / SPEED_OF_LIGHT_M_S * 1e3),
    )


def _plain(values: FloatArray) -> Numeric:
    """A Python float for a scalar result, the array otherwise."""
    return float(values) if np.ndim(values) == 0 else values


def _line_of_sight_m(
    latitude: FloatArray, height_m: FloatArray, east_of_site: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """East, north and up components (m) of the vector from the site to the satellite; angles in radians."""
    sin_lat, cos_lat = np.sin(latitude), np.cos(latitude)
    eccentricity2 = WGS84_FLATTENING * (2.0 - WGS84_FLATTENING)
    normal_m = WGS84_SEMI_MAJOR_M / np.sqrt(1.0 - eccentricity2 * sin_lat**2)
    out_m = GEOSTATIONARY_RADIUS_M * np.cos(east_of_site) - (normal_m + height_m) * cos_lat
    east_m = GEOSTATIONARY_RADIUS_M * np.sin(east_of_site)
    axis_m = -(normal_m * (1.0 - eccentricity2) + height_m) * sin_lat
    # Adding 0 turns -0 into 0, which keeps the azimuth of the sub-satellite point at 0 rather than 180.
    return east_m + 0.0, cos_lat * axis_m - sin_lat * out_m + 0.0, cos_lat * out_m + sin_lat * axis_m


def _skew_deg(latitude: FloatArray, azimuth: FloatArray, elevation: FloatArray) -> FloatArray:
    """Angle of the earth's axis, seen across the line of sight, clockwise from the vertical (deg)."""
    right = -np.sin(azimuth) * np.cos(latitude) + 0.0
    vertical = np.cos(elevation) * np.sin(latitude) - np.sin(elevation) * np.cos(azimuth) * np.cos(latitude)
    skew_deg: FloatArray = np.degrees(np.arctan2(right, vertical))
    return skew_deg


@dataclass(frozen=True, slots=True, kw_only=True)
class PointingOffset:
    """How far a dish points from where its scales say: azimuth, elevation, angle on the sky (deg)."""

    azimuth_deg: Numeric
    elevation_deg: Numeric
    on_sky_deg: Numeric


def base_tilt_offset_deg(
    azimuth_deg: Numeric, elevation_deg: Numeric, tilt_deg: Numeric, tilt_azimuth_deg: Numeric
) -> PointingOffset:
    """Pointing error of a dish whose base is not level: true direction less the direction set on its scales.

    Args (broadcast): the set azimuth and elevation (deg), the tilt of the base (deg), and the azimuth toward
    which the mast leans (deg). Returns: azimuth error in (-180, 180], elevation error, angle on the sky.
    NaN in, NaN out. Source: rotation of the set direction about the level axis across the lean (Rodrigues).
    """
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    tilt, lean = np.radians(tilt_deg), np.radians(tilt_azimuth_deg)
    # Components of the set direction in the frame (toward the lean, to its right, up).
    along = np.cos(elevation) * np.cos(azimuth - lean)
    right = np.cos(elevation) * np.sin(azimuth - lean)
    up = np.sin(elevation)
    true_along = along * np.cos(tilt) + up * np.sin(tilt)
    true_up = up * np.cos(tilt) - along * np.sin(tilt)
    azimuth_error = lean + np.arctan2(right, true_along) - azimuth
    true_elevation = np.arctan2(true_up, np.hypot(true_along, right))
    across = np.sqrt((true_along - along) ** 2 + (true_up - up) ** 2)
    return PointingOffset(
        azimuth_deg=_plain(180.0 - np.mod(180.0 - np.degrees(azimuth_error), 360.0)),
        elevation_deg=_plain(np.degrees(true_elevation - elevation)),
        on_sky_deg=_plain(np.degrees(2.0 * np.arcsin(np.minimum(across / 2.0, 1.0)))),
    )


def worst_base_tilt_offset_deg(elevation_deg: float, tilt_deg: float) -> PointingOffset:
    """The largest errors over all directions of the lean, each its own worst and positive."""
    offset = base_tilt_offset_deg(0.0, elevation_deg, tilt_deg, np.arange(0.0, 360.0))
    return PointingOffset(
        azimuth_deg=float(np.max(np.abs(offset.azimuth_deg))),
        elevation_deg=float(np.max(np.abs(offset.elevation_deg))),
        on_sky_deg=float(np.max(offset.on_sky_deg)),
    )


def elevation_finding(elevation_deg: float) -> str | None:
    """What is wrong with this elevation, as a sentence; None when nothing is."""
    if elevation_deg <= 0.0:
        return (
            f"The satellite stands {-elevation_deg:.1f}° below the horizon of this site: no link is "
            "possible. Check both longitudes (east positive) or book another satellite."
        )
    if elevation_deg < GRAZING_DEG:
        return (
            f"The satellite stands only {elevation_deg:.1f}° above the horizon: trees, buildings, rain "
            f"and scintillation count for much more below {GRAZING_DEG:.0f}°. "
            "Survey the horizon before the job."
        )
    return None
