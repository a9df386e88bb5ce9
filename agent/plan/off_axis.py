"""What the dish sends beside the satellite, against the limit that protects its neighbours.

The pattern is the reference pattern of ITU-R S.465-6, which a real dish of its size meets or betters; the
limits are those of ITU-R S.524-9 toward the geostationary orbit (both from memory). The pattern is round, so
that skew changes nothing; an elliptical dish sends more across its short axis. Not built: S.580, S.728 and
national masks. Licence and operator may ask for more.
"""

from dataclasses import dataclass
from math import log10

import numpy as np

from agent.job import Job
from agent.plan.antenna import beamwidth_deg, pointing_error_deg, wavelength_m
from agent.plan.geometry import FloatArray, Numeric

FAR_DEG = 48.0  # S.465-6 and S.524-9: where pattern and limit fall no further
FAR_DBI = -10.0
LARGE_WAVELENGTHS = 50.0
TILT_DEG = 1.0  # common practice: a base so far out of level is left alone, and the dish peaked


@dataclass(frozen=True, slots=True, kw_only=True)
class Mask:
    """Limit of EIRP density: `level` - 25 log phi (dBW) up to 7 deg, a step, 3 dB more from 9.2 deg on."""

    low_ghz: float
    high_ghz: float
    from_deg: float
    level_dbw: float
    far_dbw: float
    bandwidth_khz: float


MASKS = (
    Mask(low_ghz=5.725, high_ghz=7.075, from_deg=2.5, level_dbw=32.0, far_dbw=-7.0, bandwidth_khz=4.0),
    Mask(low_ghz=12.75, high_ghz=14.8, from_deg=2.5, level_dbw=39.0, far_dbw=0.0, bandwidth_khz=40.0),
    Mask(low_ghz=27.0, high_ghz=31.0, from_deg=2.0, level_dbw=19.0, far_dbw=-10.0, bandwidth_khz=40.0),
)


def reference_gain_dbi(off_axis_deg: Numeric, diameter_m: float, frequency_ghz: float) -> FloatArray:
    """Gain beside the axis (dBi) by ITU-R S.465-6; NaN nearer than it is defined, shape as `off_axis_deg`."""
    wavelengths = diameter_m / float(wavelength_m(frequency_ghz))
    if wavelengths >= LARGE_WAVELENGTHS:
        first_deg = max(1.0, 100.0 / wavelengths)
    else:
        first_deg = max(2.0, 114.0 * wavelengths**-1.09)
    off_deg = np.abs(np.asarray(off_axis_deg, dtype=float))
    near = np.where(off_deg >= first_deg, off_deg, np.nan)
    return np.where(off_deg >= FAR_DEG, FAR_DBI, 32.0 - 25.0 * np.log10(near))


def limit_dbw(mask: Mask, off_axis_deg: Numeric) -> FloatArray:
    """The limit (dBW in the mask's bandwidth) at these angles (deg); NaN nearer than it begins."""
    off_deg = np.asarray(off_axis_deg, dtype=float)
    near = np.where(off_deg >= mask.from_deg, off_deg, np.nan)
    limit = mask.level_dbw - 25.0 * np.log10(near)
    limit = np.where(off_deg > 7.0, mask.level_dbw - 21.0, limit)
    limit = np.where(off_deg > 9.2, mask.level_dbw + 3.0 - 25.0 * np.log10(near), limit)
    return np.where(off_deg > FAR_DEG, mask.far_dbw, limit)


def excess_db(job: Job, mask: Mask, tilt_deg: float = 0.0) -> tuple[float, float]:
    """By how much the carrier exceeds the limit at worst (dB, negative: meets it), and at which angle (deg).

    The dish is turned off toward the neighbour by the error that its pointing loss stands for, and by as much
    as its base is out of level where that is not peaked out.
    """
    transmitter, dish, carrier = job.transmitter, job.antenna, job.uplink
    sent_dbw = 10.0 * log10(transmitter.power_w) - transmitter.output_back_off_db - transmitter.feed_loss_db
    share_db = min(0.0, 10.0 * log10(mask.bandwidth_khz / 1e3 / carrier.symbol_rate_msps))
    width_deg = beamwidth_deg(dish.diameter_m, job.downlink.frequency_ghz)
    error_deg = float(pointing_error_deg(dish.pointing_loss_db, width_deg))
    angles_deg = np.arange(mask.from_deg, 60.0, 0.05)
    gain_dbi = reference_gain_dbi(angles_deg - error_deg - tilt_deg, dish.diameter_m, carrier.frequency_ghz)
    over_db = sent_dbw + share_db + gain_dbi - limit_dbw(mask, angles_deg)
    if np.all(np.isnan(over_db)):
        return float("nan"), float("nan")
    worst = int(np.nanargmax(over_db))
    return float(over_db[worst]), float(angles_deg[worst])


def off_axis_findings(job: Job) -> list[str]:
    """May this dish send this carrier, as far as a reference pattern can tell?"""
    ghz = job.uplink.frequency_ghz
    found = []
    for mask in (one for one in MASKS if one.low_ghz <= ghz <= one.high_ghz):
        over_db, angle_deg = excess_db(job, mask)
        if over_db > 0.0:
            tilted_db, _ = excess_db(job, mask, TILT_DEG)
            found.append(
                f"Beside the satellite, {angle_deg:.1f}° off, this carrier may be {over_db:.1f} dB over "
                f"the limit of ITU-R S.524 ({mask.bandwidth_khz:g} kHz) for a dish that just meets ITU-R "
                f"S.465, {tilted_db:.1f} dB where a base {TILT_DEG:g}° out of level is not peaked out: less "
                "power, a wider carrier or a larger dish. Other limits (ITU-R S.728, national ones) are not "
                "looked at; the dish's measured pattern and the operator's line-up decide."
            )
    return found
