"""Limits of human exposure to the transmitter's field, as equivalent plane-wave power density."""

from dataclasses import dataclass
from typing import Literal

from agent.errors import UsageError

LOW_GHZ, HIGH_GHZ = 0.4, 100.0  # where every limit below is defined
FCC_SOURCE = "47 CFR 1.1310 table 1"
ICNIRP_BODY_SOURCE = "ICNIRP 2020, Health Physics 118(5), table 5 (whole body)"
ICNIRP_LOCAL_SOURCE = "ICNIRP 2020, Health Physics 118(5), table 6 (local)"


@dataclass(frozen=True, slots=True, kw_only=True)
class ExposureLimit:
    """One limit: whom it protects, its power density averaged over `average_min` minutes, and its source."""

    name: str
    people: Literal["general public", "occupational"]
    power_density_w_m2: float
    average_min: float
    source: str


def exposure_limits(frequency_ghz: float) -> tuple[ExposureLimit, ...]:
    """The six limits at this frequency, 0.4 to 100 GHz; UsageError outside.

    47 CFR 1.1310 table 1 (1 mW/cm2 = 10 W/m2); ICNIRP 2020 reference levels for whole-body (table 5) and
    local exposure (table 6), as incident power density.
    """
    if not LOW_GHZ <= frequency_ghz <= HIGH_GHZ:
        raise UsageError(
            f"uplink frequency: got {frequency_ghz} GHz; exposure limits are tabulated for {LOW_GHZ} to "
            f"{HIGH_GHZ:.0f} GHz; check the unit"
        )
    return (
        _limit("FCC general population", _fcc_public(frequency_ghz), 30.0, FCC_SOURCE),
        _limit("FCC occupational", 5.0 * _fcc_public(frequency_ghz), 6.0, FCC_SOURCE),
        _limit("ICNIRP general public, whole body", _icnirp_body(frequency_ghz), 30.0, ICNIRP_BODY_SOURCE),
        _limit(
            "ICNIRP occupational, whole body", 5.0 * _icnirp_body(frequency_ghz), 30.0, ICNIRP_BODY_SOURCE
        ),
        _limit("ICNIRP general public, local", _icnirp_local(frequency_ghz), 6.0, ICNIRP_LOCAL_SOURCE),
        _limit("ICNIRP occupational, local", 5.0 * _icnirp_local(frequency_ghz), 6.0, ICNIRP_LOCAL_SOURCE),
    )


def _limit(name: str, power_density_w_m2: float, average_min: float, source: str) -> ExposureLimit:
    return ExposureLimit(
        name=name,
        people="occupational" if "occupational" in name else "general public",
        power_density_w_m2=power_density_w_m2,
        average_min=average_min,
        source=source,
    )


def _fcc_public(frequency_ghz: float) -> float:
    return 10.0 if frequency_ghz >= 1.5 else 10.0 * frequency_ghz / 1.5


def _icnirp_body(frequency_ghz: float) -> float:
    return 10.0 if frequency_ghz >= 2.0 else frequency_ghz * 1000.0 / 200.0


def _icnirp_local(frequency_ghz: float) -> float:
    if frequency_ghz > 6.0:
        return float(55.0 * frequency_ghz**-0.177)
    if frequency_ghz >= 2.0:
        return 40.0
    return float(0.058 * (frequency_ghz * 1000.0) ** 0.86)
