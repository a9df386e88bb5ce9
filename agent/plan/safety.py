"""Safety around the terminal: radio-frequency keep-out in front of the dish, and what else can hurt.

The distances follow FCC OET Bulletin 65, Edition 97-01 (1997), section 2 on aperture antennas, equations 11
to 18. They are an estimate for planning; the licence, local codes and measurements come first.
"""

from dataclasses import dataclass
from math import pi, radians, sqrt, tan

import numpy as np

from agent.job import Job
from agent.link_plan import KeepOut, Safety
from agent.plan.cautions import RF_CLOSE_CAUTION, SITE_CAUTIONS, SUN_CAUTION
from agent.plan.constants import SPEED_OF_LIGHT_M_S
from agent.plan.exposure_limits import ExposureLimit, exposure_limits
from agent.plan.geometry import FloatArray, Numeric
from agent.plan.heat_index import FULL_SUN_K, heat_band, heat_index_degc

DUTY_FACTOR = 1.0  # a live stream may keep the carrier on without a break
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
        """Highest power density of the near field, OET-65 eq. 13."""
        return 16.0 * self.efficiency * self.power_w / (pi * self.diameter_m**2)


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
    """The distance (m) along the beam beyond which the power density stays below a limit (W/m2).

    0 where even the near field's highest value meets the limit: the inverse of `power_density_w_m2`.
    """
    if aperture.near_field_w_m2 <= limit_w_m2:
        return 0.0
    far_m = sqrt(aperture.power_w * 10.0 ** (aperture.gain_dbi / 10.0) / (4.0 * pi * limit_w_m2))
    if far_m >= aperture.far_field_start_m:
        return far_m
    return aperture.near_field_w_m2 * aperture.near_field_end_m / limit_w_m2


def safety(
    job: Job,
    transmit_gain_dbi: float,
    eirp_dbw: float,
    elevation_deg: float,
    air_degc: float | None = None,
    humidity_percent: float | None = None,
) -> Safety:
    """Keep-out distances, crew heat (where air temperature and humidity are given) and the usual cautions."""
    aperture = Aperture(
        diameter_m=job.antenna.diameter_m,
        frequency_ghz=job.uplink.frequency_ghz,
        power_w=DUTY_FACTOR * 10.0 ** ((eirp_dbw - transmit_gain_dbi) / 10.0),
        gain_dbi=transmit_gain_dbi,
    )
    limits = exposure_limits(aperture.frequency_ghz)
    public = [limit for limit in limits if limit.people == "general public"]
    strictest = min(public, key=lambda limit: limit.power_density_w_m2)
    public_m = keep_out_m(aperture, strictest.power_density_w_m2)
    heat_degc = None
    if air_degc is not None and humidity_percent is not None:
        heat_degc = float(heat_index_degc(air_degc, humidity_percent))
    return Safety(
        keep_out_m=public_m,
        heat_index_degc=heat_degc,
        cautions=(
            *_beam_cautions(aperture, strictest, elevation_deg),
            RF_CLOSE_CAUTION,
            *SITE_CAUTIONS,
            _heat_caution(heat_degc),
        ),
        keep_outs=tuple(_keep_out(aperture, limit) for limit in limits),
        duty_factor=DUTY_FACTOR,
        near_field_end_m=aperture.near_field_end_m,
        far_field_start_m=aperture.far_field_start_m,
        surface_w_m2=aperture.surface_w_m2,
        near_field_w_m2=aperture.near_field_w_m2,
        far_field_start_w_m2=float(power_density_w_m2(aperture, aperture.far_field_start_m)),
    )


def _keep_out(aperture: Aperture, limit: ExposureLimit) -> KeepOut:
    return KeepOut(
        limit=limit.name,
        source=limit.source,
        limit_w_m2=limit.power_density_w_m2,
        distance_m=keep_out_m(aperture, limit.power_density_w_m2),
    )


def beam_clearance_m(aperture: Aperture, elevation_deg: float) -> float:
    """Horizontal distance (m) from which people on level ground are below the beam; elevation over 0.

    One dish diameter off the axis the near field is at least 20 dB down (OET-65, section 2, aperture
    antennas); HEAD_CLEARANCE_M is added for people.
    """
    return (HEAD_CLEARANCE_M + aperture.diameter_m) / tan(radians(elevation_deg))


def _beam_cautions(aperture: Aperture, strictest: ExposureLimit, elevation_deg: float) -> list[str]:
    distance_m = keep_out_m(aperture, strictest.power_density_w_m2)
    limit = f"{strictest.name} limit, {strictest.power_density_w_m2:.1f} W/m2"
    if distance_m == 0.0:
        return [f"RF: the beam stays below the {limit}, all the way; keep people out of it anyway."]
    keep_out = (
        f"RF: keep people out of the beam up to {distance_m:.0f} m in front of the dish while it transmits "
        f"({limit}); rope off the sector and switch off before anyone crosses it."
    )
    if not 0.0 < elevation_deg < 90.0 or beam_clearance_m(aperture, elevation_deg) >= distance_m:
        return [keep_out]
    over_heads = (
        f"RF: at {elevation_deg:.0f} deg of elevation the beam passes over people on level ground from "
        f"{beam_clearance_m(aperture, elevation_deg):.0f} m on; roofs, balconies, platforms, lifts and "
        "slopes reach into it."
    )
    return [keep_out, over_heads]


def _heat_caution(heat_degc: float | None) -> str:
    band = None if heat_degc is None else heat_band(heat_degc)
    if band is None:
        return SUN_CAUTION
    name, meaning = band
    return (
        f"{SUN_CAUTION} Heat index {heat_degc:.0f} degC in the shade, {name}: {meaning}. "
        f"Full sun adds up to {FULL_SUN_K:.0f} K."
    )
