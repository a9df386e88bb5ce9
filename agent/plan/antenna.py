"""The dish: gain, beamwidth, and what pointing it off costs."""

import numpy as np

from agent.plan.constants import SPEED_OF_LIGHT_M_S
from agent.plan.geometry import FloatArray, Numeric

# Full half-power beamwidth is 70 lambda/D deg for an edge taper of about -10 dB (Maini and Agrawal, Satellite
# Communications, section 4; 65 to 75 for other tapers).
BEAMWIDTH_DEG_PER_WAVELENGTH = 70.0
# Parabolic main lobe: 3 dB at half of the full half-power beamwidth (Maral and Bousquet, Satellite
# Communications Systems, section 5.2). Within 0.3 dB to a loss of 6 dB; beyond that it tells too much.
MAIN_LOBE_DB = 12.0


def wavelength_m(frequency_ghz: Numeric) -> FloatArray:
    """Free-space wavelength (m); NaN for a frequency that is not over 0."""
    return SPEED_OF_LIGHT_M_S / 1e9 / _over_zero(frequency_ghz)


def gain_dbi(diameter_m: Numeric, frequency_ghz: Numeric, efficiency: Numeric) -> FloatArray:
    """Gain of a circular aperture, 10 log10(eta (pi D / lambda)^2) (dBi).

    Args (broadcast): diameter (m), carrier (GHz), efficiency (0 to 1); not over 0 gives NaN, as does NaN.
    """
    electrical = np.pi * _over_zero(diameter_m) / wavelength_m(frequency_ghz)
    gain: FloatArray = 10.0 * np.log10(_over_zero(efficiency) * electrical**2)
    return gain


def efficiency_from_gain(
    antenna_gain_dbi: Numeric, diameter_m: Numeric, frequency_ghz: Numeric
) -> FloatArray:
    """Aperture efficiency that gives this gain; over 1 where the gain is more than the aperture can have."""
    ideal_dbi = gain_dbi(diameter_m, frequency_ghz, 1.0)
    efficiency: FloatArray = 10.0 ** ((np.asarray(antenna_gain_dbi, dtype=float) - ideal_dbi) / 10.0)
    return efficiency


def beamwidth_deg(diameter_m: Numeric, frequency_ghz: Numeric) -> FloatArray:
    """Full half-power beamwidth (deg), about 7 % accurate since the taper is not known."""
    return BEAMWIDTH_DEG_PER_WAVELENGTH * wavelength_m(frequency_ghz) / _over_zero(diameter_m)


def pointing_loss_db(error_deg: Numeric, full_beamwidth_deg: Numeric) -> FloatArray:
    """Loss (dB, 0 or more) of a dish that points this far off (deg): 12 (theta / theta_3dB)^2."""
    return MAIN_LOBE_DB * (np.asarray(error_deg, dtype=float) / _over_zero(full_beamwidth_deg)) ** 2


def pointing_error_deg(loss_db: Numeric, full_beamwidth_deg: Numeric) -> FloatArray:
    """How far the dish points off (deg, 0 or more) for this loss (dB): inverse of `pointing_loss_db`.

    A negative loss gives NaN.
    """
    loss_db = np.asarray(loss_db, dtype=float)
    share = np.where(loss_db >= 0.0, loss_db, np.nan) / MAIN_LOBE_DB
    error_deg: FloatArray = _over_zero(full_beamwidth_deg) * np.sqrt(share)
    return error_deg


def polarisation_loss_db(misalignment_deg: Numeric) -> FloatArray:
    """Loss (dB) of a linear feed turned off by this angle (deg): -20 log10 |cos|; 90 deg gives infinity."""
    cosine = np.abs(np.cos(np.radians(np.asarray(misalignment_deg, dtype=float))))
    with np.errstate(divide="ignore"):
        loss_db: FloatArray = -20.0 * np.log10(cosine)
    return loss_db


def _over_zero(values: Numeric) -> FloatArray:
    values = np.asarray(values, dtype=float)
    return np.where(values > 0.0, values, np.nan)
