"""Decides what thick clouds without rain take from the downlink."""

from math import nan, radians, sin

from agent.watch.in_path import in_path_loss_db

# Specific attenuation of cloud water at 20 GHz and 5 degC, dB per kg/m2, growing with the square of the
# frequency (Rayleigh): ITU-R P.840-8, equation 2.
AT_20_GHZ_DB = 0.31
WATER_KG_M2 = 0.9  # a thick cumulus that does not rain (common practice)


def cloud_loss_db(frequency_ghz: float, elevation_deg: float, system_noise_k: float | None) -> float:
    """Fall of the downlink's Es/N0 (dB) behind such a cloud: its attenuation and the noise that it radiates.

    NaN where the satellite is below the horizon.
    """
    if not elevation_deg > 0.0 or system_noise_k is None:
        return nan
    slant = WATER_KG_M2 / sin(radians(elevation_deg))
    attenuation_db = AT_20_GHZ_DB * (frequency_ghz / 20.0) ** 2 * slant
    return in_path_loss_db(attenuation_db, system_noise_k)
