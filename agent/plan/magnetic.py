"""Magnetic declination by the World Magnetic Model 2025, with the model's own uncertainty.

The standard model (degree 12) is used: it is the one with published test values, and the high-resolution
model narrows the declination's uncertainty by 0.01 deg only.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from math import hypot, isnan, nan

from pygeomag import GeoMag
from pygeomag.wmm.wmm_2025 import WMM_2025

# NOAA/NCEI and BGS, The US/UK World Magnetic Model for 2025-2030: Technical Report, error model: the standard
# deviation is sqrt(0.26**2 + (5417 / H)**2) deg, H in nT; blackout zone H < 2000 nT, caution zone H < 6000 nT
# (values as in pygeomag 1.1).
DECLINATION_FLOOR_DEG = 0.26
DECLINATION_SCALE_DEG_NT = 5417.0
BLACKOUT_NT = 2000.0
CAUTION_NT = 6000.0
VALID_YEARS = (2025.0, 2030.0)
MOST_UNCERTAIN_DEG = 180.0  # a direction cannot be more wrong


@dataclass(frozen=True, slots=True, kw_only=True)
class Declination:
    """Magnetic north from true north, east positive (deg), one standard deviation, and what to know about it.

    `uncertainty_deg` is None outside the model's years, where the error model does not hold.
    """

    value_deg: float
    uncertainty_deg: float | None
    findings: tuple[str, ...]


def declination(latitude_deg: float, longitude_deg: float, height_m: float, unix_s: float) -> Declination:
    """Declination of the WMM2025 main field at a geodetic place (WGS 84; height -1 to 850 km) and time.

    Outside 2025.0 to 2030.0 the value is extrapolated and a finding says so; NaN in, NaN out.
    """
    if any(isnan(value) for value in (latitude_deg, longitude_deg, height_m, unix_s)):
        return Declination(value_deg=nan, uncertainty_deg=nan, findings=())
    year = decimal_year(unix_s)
    field = GeoMag(coefficients_data=WMM_2025).calculate(
        latitude_deg, longitude_deg, height_m / 1000.0, year, allow_date_outside_lifespan=True
    )
    findings = [*_validity_findings(year), *_zone_findings(field.h)]
    valid = VALID_YEARS[0] <= year <= VALID_YEARS[1]
    return Declination(
        value_deg=field.d,
        uncertainty_deg=declination_uncertainty_deg(field.h) if valid else None,
        findings=tuple(findings),
    )


def declination_uncertainty_deg(horizontal_nt: float) -> float:
    """One standard deviation of the declination (deg, 0.26 to 180) at a horizontal intensity (nT)."""
    if horizontal_nt <= 0.0:
        return MOST_UNCERTAIN_DEG
    return min(MOST_UNCERTAIN_DEG, hypot(DECLINATION_FLOOR_DEG, DECLINATION_SCALE_DEG_NT / horizontal_nt))


def magnetic_heading_deg(azimuth_true_deg: float, declination_deg: float) -> float:
    """What a compass reads along this true azimuth (0 to 360 deg)."""
    return (azimuth_true_deg - declination_deg) % 360.0


def decimal_year(unix_s: float) -> float:
    """Calendar year with the passed part of it as the fraction (UTC), as the WMM counts time."""
    moment = datetime.fromtimestamp(unix_s, UTC)
    start = datetime(moment.year, 1, 1, tzinfo=UTC).timestamp()
    end = datetime(moment.year + 1, 1, 1, tzinfo=UTC).timestamp()
    return moment.year + (unix_s - start) / (end - start)


def _validity_findings(year: float) -> list[str]:
    if VALID_YEARS[0] <= year <= VALID_YEARS[1]:
        return []
    first, last = VALID_YEARS
    sentence = (
        f"The magnetic heading is extrapolated: the World Magnetic Model 2025 covers {first:.0f} to "
        f"{last:.0f}, the job is in {year:.1f}. Point by true azimuth or take a newer model."
    )
    return [sentence]


def _zone_findings(horizontal_nt: float) -> list[str]:
    if horizontal_nt >= CAUTION_NT:
        return []
    zone, advice = "caution", "expect a poor compass"
    if horizontal_nt < BLACKOUT_NT:
        zone, advice = "blackout", "do not use a compass"
    sentence = (
        f"Near the magnetic pole ({zone} zone of the World Magnetic Model, horizontal field "
        f"{horizontal_nt:.0f} nT): {advice}; point by the sun, by a map bearing or by a two-antenna receiver."
    )
    return [sentence]
