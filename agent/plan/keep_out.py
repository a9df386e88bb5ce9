"""How far the beam of a dish exceeds a limit of exposure, and where it passes over people's heads.

By FCC OET Bulletin 65, Edition 97-01 (1997), section 2 on aperture antennas, equations 11 to 18, taken from
their safe side: next to the dish the highest density of the surface (eq. 11) stands for the whole near field.
"""

from dataclasses import dataclass
from math import cos, inf, isnan, pi, radians, sin, sqrt, tan

import numpy as np

from agent.plan.antenna import beamwidth_deg, pointing_error_deg
from agent.plan.constants import SPEED_OF_LIGHT_M_S
from agent.plan.geometry import FloatArray, Numeric

# Close to a dish an estimate errs by as much as this (assumption), so that a limit met by less counts as not
# met and the distance does not fall to nothing for a tenth of a decibel.
NEAR_FIELD_DOUBT = 2.0
# One dish diameter off the axis the near field is at least 20 dB down (OET-65, section 2, aperture antennas).
BESIDE_BEAM_DB = 20.0
HEAD_CLEARANCE_M = 2.5  # a tall person with a raised arm above the level of the dish's centre, at most


@dataclass(frozen=True, slots=True, kw_only=True)
class Aperture:
    """A dish that transmits: diameter, carrier, mean power at the feed (duty included) and gain."""

    diameter_m: float
    frequency_ghz: float
    power_w: float
    gain_dbi: float

    @property
    def wavelength_m(self) -> float:
        """Wavelength in free space (m)."""
        return SPEED_OF_LIGHT_M_S / (self.frequency_ghz * 1e9)

    @property
    def efficiency(self) -> float:
        """Aperture efficiency (1), OET-65 eq. 14."""
        return float(10.0 ** (self.gain_dbi / 10.0)) * (self.wavelength_m / (pi * self.diameter_m)) ** 2

    @property
    def near_field_end_m(self) -> float:
        """Where the near field ends (m), OET-65 eq. 12."""
        return self.diameter_m**2 / (4.0 * self.wavelength_m)

    @property
    def far_field_start_m(self) -> float:
        """Where the far field starts (m), OET-65 eq. 16."""
        return 0.6 * self.diameter_m**2 / self.wavelength_m

    @property
    def surface_w_m2(self) -> float:
        """Highest power density at the dish's surface, OET-65 eq. 11."""
        return 4.0 * self.power_w / (pi * self.diameter_m**2 / 4.0)

    @property
    def near_field_w_m2(self) -> float:
        """Highest power density on the axis in the near field, OET-65 eq. 13."""
        return 16.0 * self.efficiency * self.power_w / (pi * self.diameter_m**2)

    @property
    def highest_w_m2(self) -> float:
        """Highest power density anywhere in the near field: that of the surface, or of the axis if more."""
        return max(self.surface_w_m2, self.near_field_w_m2)


def power_density_w_m2(aperture: Aperture, distance_m: Numeric) -> FloatArray:
    """Highest power density (W/m2) on the axis of the beam at these distances (m) from the dish.

    Near field OET-65 eq. 13, transition eq. 17, far field eq. 18 (which starts 3 % above the end of eq. 17,
    by construction). A distance below 0 gives NaN; NaN in, NaN out.
    """
    distance_m = np.asarray(distance_m, dtype=float)
    distance_m = np.where(distance_m >= 0.0, distance_m, np.nan)
    beyond_m = np.maximum(distance_m, aperture.near_field_end_m)
    near_or_transition = aperture.near_field_w_m2 * aperture.near_field_end_m / beyond_m
    far = aperture.power_w * 10.0 ** (aperture.gain_dbi / 10.0) / (4.0 * pi * beyond_m**2)
    return np.where(distance_m >= aperture.far_field_start_m, far, near_or_transition)


def keep_out_m(aperture: Aperture, limit_w_m2: float) -> float:
    """The distance (m) along the beam beyond which no point in it exceeds a limit (W/m2).

    The highest density of the near field falls off as OET-65 eq. 17 does, up to the far field, eq. 18. 0 only
    where the limit is NEAR_FIELD_DOUBT times what any accessible point has; NaN in, NaN out.
    """
    highest_w_m2 = aperture.highest_w_m2
    if isnan(highest_w_m2):
        return highest_w_m2
    if highest_w_m2 * NEAR_FIELD_DOUBT <= limit_w_m2:
        return 0.0
    transition_m = aperture.near_field_end_m * max(1.0, highest_w_m2 / limit_w_m2)
    far_m = sqrt(aperture.power_w * 10.0 ** (aperture.gain_dbi / 10.0) / (4.0 * pi * limit_w_m2))
    return far_m if far_m >= aperture.far_field_start_m else min(transition_m, aperture.far_field_start_m)


def clear_below_m(aperture: Aperture, elevation_deg: float, limit_w_m2: float) -> float:
    """Horizontal distance (m) from which people on level ground are below the beam and under a limit (W/m2).

    Their heads are then one diameter and the angle of BESIDE_BEAM_DB off the axis. Infinite where the beam is
    too low or too strong for any distance to be clear.
    """
    beside_deg = float(
        pointing_error_deg(BESIDE_BEAM_DB, beamwidth_deg(aperture.diameter_m, aperture.frequency_ghz))
    )
    too_strong = aperture.highest_w_m2 / 10.0 ** (BESIDE_BEAM_DB / 10.0) > limit_w_m2
    if too_strong or not beside_deg < elevation_deg < 90.0:
        return inf
    up = radians(elevation_deg)
    near_m = (HEAD_CLEARANCE_M * cos(up) + aperture.diameter_m) / sin(up)
    return max(near_m, HEAD_CLEARANCE_M / tan(up - radians(beside_deg)))
