"""The link equation and the noise chain, in decibels.

Every function takes numbers or arrays that broadcast and gives NaN where an input is NaN or impossible.
Source unless said otherwise: Maral and Bousquet, Satellite Communications Systems, 5th ed., chapter 5.
"""

import numpy as np

from agent.plan.antenna import wavelength_m
from agent.plan.constants import BOLTZMANN_DBW_HZ_K, STANDARD_TEMPERATURE_K
from agent.plan.geometry import FloatArray, Numeric

COSMIC_NOISE_K = 2.7  # ITU-R P.618-13, eq. 69


def decibels(ratio: Numeric) -> FloatArray:
    """10 log10 of a ratio; NaN where it is not over 0."""
    ratio = _array(ratio)
    value_db: FloatArray = 10.0 * np.log10(np.where(ratio > 0.0, ratio, np.nan))
    return value_db


def ratio(value_db: Numeric) -> FloatArray:
    """The ratio of a value in dB."""
    linear: FloatArray = 10.0 ** (_array(value_db) / 10.0)
    return linear


def free_space_loss_db(range_km: Numeric, frequency_ghz: Numeric) -> FloatArray:
    """20 log10(4 pi d / lambda) (dB) over a range (km)."""
    return 2.0 * decibels(4.0 * np.pi * _array(range_km) * 1e3 / wavelength_m(frequency_ghz))


def eirp_dbw(
    power_w: Numeric, output_back_off_db: Numeric, feed_loss_db: Numeric, gain_dbi: Numeric
) -> FloatArray:
    """Power radiated toward the satellite if it went everywhere (dBW).

    Args: saturated power (W), output back-off and loss between transmitter and feed (dB), gain (dBi).
    """
    lost_db = _array(output_back_off_db) + _array(feed_loss_db)
    return decibels(power_w) - lost_db + _array(gain_dbi)


def sky_noise_k(attenuation_db: Numeric, radiating_temperature_k: Numeric) -> FloatArray:
    """Noise of the sky (K) through an atmosphere that absorbs this much (dB, without scintillation).

    The atmosphere radiates at its mean radiating temperature (K). Source: ITU-R P.618-13, eq. 69.
    """
    through = ratio(-_array(attenuation_db))
    return _array(radiating_temperature_k) * (1.0 - through) + COSMIC_NOISE_K * through


def system_noise_k(
    antenna_noise_k: Numeric,
    feed_loss_db: Numeric,
    receiver_noise_k: Numeric,
    feed_temperature_k: Numeric = STANDARD_TEMPERATURE_K,
) -> FloatArray:
    """System noise temperature (K) at the receiver's input, behind the lossy feed.

    T_A / L + T_F (1 - 1/L) + T_R, with the antenna noise, the feed's own temperature and the receiver's.
    """
    through = ratio(-_array(feed_loss_db))
    antenna_k = _array(antenna_noise_k) * through
    feed_k = _array(feed_temperature_k) * (1.0 - through)
    return antenna_k + feed_k + _array(receiver_noise_k)


def gt_dbk(gain_dbi: Numeric, feed_loss_db: Numeric, noise_k: Numeric) -> FloatArray:
    """Figure of merit (dB/K); the noise (K) is that at the receiver's input, behind the feed."""
    return _array(gain_dbi) - _array(feed_loss_db) - decibels(noise_k)


def cn0_dbhz(transmit_eirp_dbw: Numeric, losses_db: Numeric, receive_gt_dbk: Numeric) -> FloatArray:
    """Carrier to noise density (dBHz): EIRP less all losses, plus G/T, less Boltzmann's constant."""
    received_dbw = _array(transmit_eirp_dbw) - _array(losses_db)
    return received_dbw + _array(receive_gt_dbk) - BOLTZMANN_DBW_HZ_K


def combined_db(*ratios_db: Numeric) -> FloatArray:
    """The ratio of a carrier to several noises or interferers together, each given as its ratio (dB)."""
    stacked_db = np.stack(np.broadcast_arrays(*(_array(one) for one in ratios_db)))
    # Counted from the lowest ratio, so that hundreds of dB under the noise do not overflow.
    lowest_db = np.min(stacked_db, axis=0)
    total_db: FloatArray = lowest_db - decibels(np.sum(ratio(lowest_db - stacked_db), axis=0))
    return total_db


def esno_db(carrier_cn0_dbhz: Numeric, symbol_rate_msps: Numeric) -> FloatArray:
    """Energy of a symbol to noise density (dB): C/N0 over the symbol rate."""
    return _array(carrier_cn0_dbhz) - decibels(_array(symbol_rate_msps) * 1e6)


def _array(values: Numeric) -> FloatArray:
    return np.asarray(values, dtype=float)
