"""Decides what rain and clouds in the path take from Es/N0: they attenuate, and they radiate noise."""

from math import log10

RADIATING_K = 275.0  # mean radiating temperature of rain, ITU-R P.618-14 section 3


def in_path_loss_db(attenuation_db: float, system_noise_k: float) -> float:
    """Fall of Es/N0 (dB) behind so much attenuation, with the noise that it radiates into the receiver."""
    added_k = RADIATING_K * (1.0 - 10.0 ** (-attenuation_db / 10.0))
    return float(attenuation_db + 10.0 * log10(1.0 + added_k / system_noise_k))
