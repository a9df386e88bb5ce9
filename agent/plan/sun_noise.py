"""What the sun's noise costs a dish that looks at it, or beside it."""

from dataclasses import dataclass
from math import pi

import numpy as np

from agent.plan.geometry import FloatArray, Numeric

# Angular radius of the sun at its mean distance: 695 700 km (IAU 2015 Resolution B3) at 1 au.
SUN_RADIUS_DEG = 0.2664
# Brightness temperature of the quiet sun over its disc. 1.4 to 18 GHz: Zirin, Baumert and Hurford, The
# Astrophysical Journal 370, 1991, 779 (from memory); 37 GHz: Kallunki and Tornikoski, Solar Physics 293,
# 2018, 156 (8100 +- 300 K at 8 mm); 70 GHz: 7000 K +- 10 %, measured at 4.3 mm. The slowly varying part of
# an active sun adds up to 40 % at 11 GHz (+1.3 dB of depth), less above, and more below.
QUIET_SUN_GHZ = (1.4, 2.0, 2.8, 4.2, 5.8, 8.2, 10.6, 13.2, 18.0, 37.0, 70.0)
QUIET_SUN_K = (
    70_500.0,
    42_900.0,
    27_100.0,
    19_400.0,
    15_900.0,
    12_900.0,
    11_300.0,
    10_800.0,
    10_300.0,
    8_100.0,
    7_000.0,
)
QUIET_SUN_SFU = 70.0  # the quiet sun's flux at 2.8 GHz (1e-22 W/m2/Hz), from memory
FLUX_GHZ = 2.8
# An active sun's excess falls with the frequency, from all of it at 2.8 GHz to 40 % of the quiet sun at
# 11 GHz where the flux is 250: (11 / 2.8) ** -1.36 (assumption between the two).
ACTIVITY_EXPONENT = -1.36
DISC_RINGS, DISC_SPOKES = 12, 24


@dataclass(frozen=True, slots=True, kw_only=True)
class BeamNoise:
    """What decides the depth of a sun pass: full half-power beamwidth, carrier, and gain and system noise.

    `gain_dbi` and `system_noise_k` refer to the same point of the receive chain.
    """

    beamwidth_deg: float
    frequency_ghz: float
    gain_dbi: float
    system_noise_k: float
    solar_flux_sfu: float = QUIET_SUN_SFU


def sun_brightness_k(frequency_ghz: Numeric, solar_flux_sfu: float = QUIET_SUN_SFU) -> FloatArray:
    """Brightness temperature of the sun's disc (K), log-log between published values of the quiet sun.

    Outside 1.4 to 70 GHz the value at the end of the range; NaN in, NaN out. About 10 % accurate for the
    quiet sun; an active one adds by its flux at 10.7 cm.
    """
    quiet_k = np.exp(np.interp(np.log(frequency_ghz), np.log(QUIET_SUN_GHZ), np.log(QUIET_SUN_K)))
    excess = (solar_flux_sfu - QUIET_SUN_SFU) / QUIET_SUN_SFU
    above = np.asarray(frequency_ghz, dtype=float) / FLUX_GHZ
    brightness_k: FloatArray = quiet_k * (1.0 + excess * above**ACTIVITY_EXPONENT)
    return brightness_k


def sun_noise_k(beam: BeamNoise, separation_deg: Numeric) -> FloatArray:
    """Antenna temperature (K) by the sun's disc whose centre is this far off the axis of a Gaussian beam.

    T = G / (4 pi) * integral over the disc of T_sun * exp(-4 ln 2 (theta / beamwidth)**2), side lobes left
    out; never above the sun's own brightness. Radio astronomy's antenna temperature (Kraus, Radio Astronomy,
    2nd ed., eq. 3-118). Shape as `separation_deg`; NaN in, NaN out.
    """
    separation_deg = np.asarray(separation_deg, dtype=float)
    nodes, weights = np.polynomial.legendre.leggauss(DISC_RINGS)
    radius_deg = SUN_RADIUS_DEG * (nodes + 1.0) / 2.0
    ring_sr = np.radians(SUN_RADIUS_DEG / 2.0) * weights * np.radians(radius_deg) * 2.0 * pi / DISC_SPOKES
    spokes = 2.0 * pi * (np.arange(DISC_SPOKES) + 0.5) / DISC_SPOKES
    off2_deg2 = (
        separation_deg[..., None, None] ** 2
        + radius_deg[:, None] ** 2
        + 2.0 * separation_deg[..., None, None] * radius_deg[:, None] * np.cos(spokes)
    )
    pattern = np.exp(-4.0 * np.log(2.0) * off2_deg2 / beam.beamwidth_deg**2)
    seen_sr = np.sum(pattern * ring_sr[:, None], axis=(-2, -1))
    brightness_k = sun_brightness_k(beam.frequency_ghz, beam.solar_flux_sfu)
    share = np.minimum(1.0, 10.0 ** (beam.gain_dbi / 10.0) / (4.0 * pi) * seen_sr)
    noise_k: FloatArray = brightness_k * share
    return noise_k


def sun_loss_db(beam: BeamNoise, separation_deg: Numeric) -> FloatArray:
    """Loss of the downlink's C/N0 (dB) by the sun this far off the axis; interference is left out."""
    loss_db: FloatArray = 10.0 * np.log10(1.0 + sun_noise_k(beam, separation_deg) / beam.system_noise_k)
    return loss_db
