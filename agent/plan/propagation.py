"""What the atmosphere takes from the carrier, by ITU-R Recommendations as the library itur computes them.

The editions are pinned here and stand beside every line of the budget. Some have successors (P.618-14,
P.676-13, P.840-9): cloud attenuation is where they differ most. All statistics are of an average year.

Heavy: only the process that computes a plan imports this module.
"""

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from math import isfinite, nan

import numpy as np
from itur import utils
from itur.models import (
    itu453,
    itu618,
    itu676,
    itu835,
    itu836,
    itu837,
    itu838,
    itu839,
    itu840,
    itu1510,
    itu1511,
)

from agent.plan.geometry import FloatArray, Numeric

_MODELS = (itu453, itu618, itu676, itu836, itu837, itu838, itu839, itu840, itu1510, itu1511)
EDITIONS = {
    "P.453": 13,
    "P.618": 13,
    "P.676": 12,
    "P.836": 6,
    "P.837": 7,
    "P.838": 3,
    "P.839": 4,
    "P.840": 8,
    "P.1510": 1,
    "P.1511": 1,  # half a degree: enough to find a slip, and thirty times as quick to load as the next
}
# The library reads the same grid of places anew for every map and percentage.
utils.load_data = lru_cache(maxsize=32)(utils.load_data)
for _model, _edition in zip(_MODELS, EDITIONS.values(), strict=True):
    _model.change_version(_edition)

DESIGN_PERCENT = 0.01  # P.618-13 starts from the rain exceeded so long (section 2.2.1.1, step 4).
MEDIAN_PERCENT = 50.0
FLOOR_PERCENT = 1.0  # P.618-13, eqs 64 and 65: below it gas and cloud are in the rain already
RAIN_PERCENT = (0.001, 5.0)  # P.618-13, section 2.2.1.1
LOWEST_ELEVATION_DEG = 5.0  # P.618-13, section 2.4.1; P.676-12, annex 2
HIGHEST_GHZ = 55.0  # P.618-13, section 2.2.1.1
CROSS_POLAR_GHZ = (4.0, 55.0)  # P.618-13, section 4.1; scaled below 6 GHz
CROSS_POLAR_HIGHEST_ELEVATION_DEG = 60.0  # P.618-13, section 4.1


@dataclass(frozen=True, slots=True, kw_only=True)
class SlantPath:
    """One carrier's way through the atmosphere, and the dish whose size averages the scintillation.

    `tilt_deg` is the polarisation's angle from the local horizontal, 45 for circular.
    """

    latitude_deg: float
    longitude_deg: float
    height_m: float
    elevation_deg: float
    frequency_ghz: float
    tilt_deg: float
    diameter_m: float
    efficiency: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Attenuation:
    """Attenuation exceeded for the asked percentages of a year (dB, 0 or more; NaN where not defined)."""

    gas_db: FloatArray
    cloud_db: FloatArray
    rain_db: FloatArray
    scintillation_db: FloatArray

    @property
    def total_db(self) -> FloatArray:
        """All of it together; P.618-13, eq. 65."""
        return total_attenuation_db(self.gas_db, self.cloud_db, self.rain_db, self.scintillation_db)

    @property
    def absorbed_db(self) -> FloatArray:
        """What also radiates noise: all but scintillation (P.618-13, section 3)."""
        return self.gas_db + self.cloud_db + self.rain_db


def total_attenuation_db(
    gas_db: Numeric, cloud_db: Numeric, rain_db: Numeric, scintillation_db: Numeric
) -> FloatArray:
    """Gas + root of ((rain + cloud) squared + scintillation squared) (dB); P.618-13, eq. 65."""
    absorbed_db = np.asarray(rain_db, dtype=float) + np.asarray(cloud_db, dtype=float)
    total_db: FloatArray = np.asarray(gas_db, dtype=float) + np.hypot(absorbed_db, scintillation_db)
    return total_db


def attenuation(path: SlantPath, exceeded_percent: Numeric) -> Attenuation:
    """Attenuation exceeded for these percentages of an average year, shape as given.

    A satellite that is not above the horizon, an undefined path, and a percentage outside 0 to 100 give NaN.
    """
    percent = np.asarray(exceeded_percent, dtype=float)
    parts = np.full((4, *percent.shape), np.nan)
    good = (percent > 0.0) & (percent < 100.0)
    if _defined(path) and good.any():
        parts[:, good] = _contributions(path, percent[good])
    return Attenuation(gas_db=parts[0], cloud_db=parts[1], rain_db=parts[2], scintillation_db=parts[3])


def _contributions(path: SlantPath, percent: FloatArray) -> FloatArray:
    """Gas, cloud, rain and scintillation, one row each; gas and cloud not below FLOOR_PERCENT."""
    # The maps are asked once for each percentage that counts.
    asked, place = np.unique(np.maximum(percent, FLOOR_PERCENT), return_inverse=True)
    with _library_warnings_checked_here():
        gas = _gas_db(path, asked)[place]
        liquid = np.array(_cloud_liquid_kg_m2(path.latitude_deg, path.longitude_deg, tuple(asked)))
        cloud = itu840.cloud_attenuation(
            path.latitude_deg, path.longitude_deg, path.elevation_deg, path.frequency_ghz, asked, Lred=liquid
        )
        scintillation = _scintillation_db(path, percent)
    cloud_db = _of_shape(cloud.value, asked)[place]
    return np.stack([gas, cloud_db, rain_attenuation_db(path, percent), scintillation])


def _gas_db(path: SlantPath, percent: FloatArray) -> FloatArray:
    """Absorption by gas (dB); P.676-12, annex 2."""
    height_km = path.height_m / 1000.0
    vapour_kg_m2, vapour_g_m3 = _vapour(path.latitude_deg, path.longitude_deg, height_km, tuple(percent))
    gas = itu676.gaseous_attenuation_slant_path(
        path.frequency_ghz,
        path.elevation_deg,
        np.array(vapour_g_m3),
        itu835.standard_pressure(height_km),
        _surface_k(path.latitude_deg, path.longitude_deg),
        np.array(vapour_kg_m2),
        height_km,
        "approx",
    )
    return _of_shape(gas.value, percent)


def _of_shape(values: Numeric, percent: FloatArray) -> FloatArray:
    """The library makes a number of an array of one."""
    return np.broadcast_to(np.asarray(values, dtype=float), percent.shape)


def _scintillation_db(path: SlantPath, percent: FloatArray) -> FloatArray:
    """Fade by scintillation (dB) exceeded for these percentages; P.618-13, section 2.4.1, eqs 45 to 49."""
    sigma_db = itu618.scintillation_attenuation_sigma(
        path.latitude_deg,
        path.longitude_deg,
        path.frequency_ghz,
        path.elevation_deg,
        MEDIAN_PERCENT,
        path.diameter_m,
        path.efficiency,
    ).value
    log = np.log10(percent)
    factor: FloatArray = -0.061 * log**3 + 0.072 * log**2 - 1.71 * log + 3.0
    return factor * float(sigma_db)


@lru_cache(maxsize=64)
def _vapour(
    latitude_deg: float, longitude_deg: float, height_km: float, percent: tuple[float, ...]
) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Columnar content (kg/m2) and surface density (g/m3) of water vapour; P.836-6."""
    content = itu836.total_water_vapour_content(latitude_deg, longitude_deg, np.array(percent), height_km)
    density = itu836.surface_water_vapour_density(latitude_deg, longitude_deg, np.array(percent), height_km)
    return tuple(np.ravel(content.value)), tuple(np.ravel(density.value))


@lru_cache(maxsize=64)
def _cloud_liquid_kg_m2(
    latitude_deg: float, longitude_deg: float, percent: tuple[float, ...]
) -> tuple[float, ...]:
    """Columnar content of reduced cloud liquid water; P.840-8."""
    content = itu840.columnar_content_reduced_liquid(latitude_deg, longitude_deg, np.array(percent))
    return tuple(np.ravel(content.value))


@lru_cache(maxsize=64)
def _surface_k(latitude_deg: float, longitude_deg: float) -> float:
    return float(itu1510.surface_mean_temperature(latitude_deg, longitude_deg).value)


def rain_attenuation_db(
    path: SlantPath, exceeded_percent: FloatArray, rain_rate_001_mm_h: float | None = None
) -> FloatArray:
    """Rain attenuation (dB) exceeded for these percentages; P.618-13, section 2.2.1.1.

    `rain_rate_001_mm_h` is the rate exceeded for 0.01 % of a year where it is known better than from P.837.
    0 where it never rains, and for a site above the rain height (P.839); NaN where the path is not defined.
    """
    if not _defined(path):
        return np.full_like(exceeded_percent, np.nan)
    rate_mm_h = rain_rate_001_mm_h
    if rate_mm_h is None:
        rate_mm_h = float(rain_rate_mm_h(path.latitude_deg, path.longitude_deg, DESIGN_PERCENT))
    if rate_mm_h <= 0.0 or rain_height_m(path.latitude_deg, path.longitude_deg) <= path.height_m:
        return np.zeros_like(exceeded_percent)
    with _library_warnings_checked_here():
        rain = itu618.rain_attenuation(
            path.latitude_deg,
            path.longitude_deg,
            path.frequency_ghz,
            path.elevation_deg,
            hs=path.height_m / 1000.0,
            p=exceeded_percent,
            R001=rate_mm_h,
            tau=path.tilt_deg,
        )
    return np.asarray(rain.value, dtype=float).reshape(exceeded_percent.shape)


def clear_sky_gas_db(path: SlantPath) -> float:
    """Absorption by gas that half of the year exceeds (dB), the plan's clear sky; P.676-12, annex 2."""
    if not _defined(path):
        return nan
    with _library_warnings_checked_here():
        return float(_gas_db(path, np.array([MEDIAN_PERCENT]))[0])


@lru_cache(maxsize=64)
def rain_rate_mm_h(latitude_deg: float, longitude_deg: float, exceeded_percent: float) -> float:
    """Rain (mm/h) exceeded for a percentage of an average year; P.837-7. NaN in, NaN out."""
    if not all(isfinite(value) for value in (latitude_deg, longitude_deg, exceeded_percent)):
        return nan
    return float(itu837.rainfall_rate(latitude_deg, longitude_deg, exceeded_percent).value)


@lru_cache(maxsize=64)
def rain_height_m(latitude_deg: float, longitude_deg: float) -> float:
    """Mean height above sea level up to which rain falls as rain (m); P.839-4."""
    return 1000.0 * float(itu839.rain_height(latitude_deg, longitude_deg).value)


def ground_height_m(latitude_deg: float, longitude_deg: float) -> float:
    """Height of the ground above the sea (m), mean of about half a degree; P.1511-1."""
    return 1000.0 * float(itu1511.topographic_altitude(latitude_deg, longitude_deg).value)


def rain_exponent(path: SlantPath) -> float:
    """The alpha in k R^alpha, how attenuation grows with the rain rate; P.838-3."""
    if not _defined(path):
        return nan
    _, alpha = itu838.rain_specific_attenuation_coefficients(
        path.frequency_ghz, path.elevation_deg, path.tilt_deg
    )
    return float(alpha)


def cross_polar_db(path: SlantPath, rain_db: float, exceeded_percent: float) -> float:
    """Cross-polar discrimination (dB) that rain leaves for all but this percentage; P.618-13, section 4.1.

    NaN without rain, outside 4 to 55 GHz and over 60 deg of elevation, where the method does not hold.
    """
    low_ghz, high_ghz = CROSS_POLAR_GHZ
    if not (
        low_ghz <= path.frequency_ghz <= high_ghz
        and 0.0 < path.elevation_deg <= CROSS_POLAR_HIGHEST_ELEVATION_DEG
        and rain_db > 0.0
    ):
        return nan
    discrimination = itu618.rain_cross_polarization_discrimination(
        rain_db, path.frequency_ghz, path.elevation_deg, exceeded_percent, path.tilt_deg
    )
    return float(discrimination.value)


def mean_radiating_temperature_k(latitude_deg: float, longitude_deg: float) -> float:
    """Temperature at which the atmosphere radiates (K); P.618-13, eq. 70 with the surface's of P.1510-1."""
    if not (isfinite(latitude_deg) and isfinite(longitude_deg)):
        return nan
    return 37.34 + 0.81 * _surface_k(latitude_deg, longitude_deg)


def validity_findings(path: SlantPath, exceeded_percent: float) -> list[str]:
    """Where the plan leaves the range for which the Recommendations were made, as sentences."""
    findings = []
    if 0.0 < path.elevation_deg < LOWEST_ELEVATION_DEG:
        findings.append(
            f"Elevation {path.elevation_deg:.1f}° is below {LOWEST_ELEVATION_DEG:.0f}°: the "
            "attenuation by ITU-R P.618 and P.676 does not hold there and is too good."
        )
    if path.frequency_ghz > HIGHEST_GHZ:
        findings.append(
            f"{path.frequency_ghz:g} GHz is above {HIGHEST_GHZ:.0f} GHz: rain attenuation by ITU-R P.618 is "
            "not tested there."
        )
    low, high = RAIN_PERCENT
    if not low <= exceeded_percent <= high:
        findings.append(
            f"An unavailability of {exceeded_percent:g} % is outside {low:g} to {high:g} % of a year, for "
            "which ITU-R P.618 gives rain attenuation: it is extrapolated."
        )
    return findings


def _defined(path: SlantPath) -> bool:
    numbers = (
        path.latitude_deg,
        path.longitude_deg,
        path.height_m,
        path.frequency_ghz,
        path.tilt_deg,
        path.diameter_m,
        path.efficiency,
    )
    return all(isfinite(number) for number in numbers) and path.elevation_deg > 0.0


@contextmanager
def _library_warnings_checked_here() -> Iterator[None]:
    """Silences the library's warnings about ranges, which `validity_findings` words for the user."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", category=RuntimeWarning, module=r"itur\.models\.")
        warnings.filterwarnings("ignore", category=RuntimeWarning, module="itur")
        yield
