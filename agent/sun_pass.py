"""What a sun pass of the plan takes at a moment (pure)."""

from bisect import bisect_left
from collections.abc import Sequence
from math import exp, isnan, log, log10, nan

from agent.link_plan import SUN_PASS_THRESHOLD_DB, SunPass


def sun_pass_loss_db(passes: Sequence[SunPass], unix_s: float) -> float:
    """Loss of C/N0 by the sun at this time (dB, 0 without a pass near; NaN in, NaN out).

    `passes` in order of time. The noise rise follows a Gaussian bell through the start, peak and end of the
    nearest pass: the sun crosses a Gaussian beam at a steady rate.
    """
    if isnan(unix_s):
        return nan
    if not passes:
        return 0.0
    after = bisect_left(passes, unix_s, key=_peak_unix_s)
    return max((_pass_loss_db(one, unix_s) for one in passes[max(0, after - 1) : after + 1]), default=0.0)


def _peak_unix_s(sun_pass: SunPass) -> float:
    return sun_pass.peak_unix_s


def _pass_loss_db(sun_pass: SunPass, unix_s: float) -> float:
    if sun_pass.depth_db <= SUN_PASS_THRESHOLD_DB:
        return 0.0
    before = unix_s < sun_pass.peak_unix_s
    half_s = (
        sun_pass.peak_unix_s - sun_pass.start_unix_s if before else sun_pass.end_unix_s - sun_pass.peak_unix_s
    )
    peak_rise = _noise_rise(sun_pass.depth_db)
    steepness = log(peak_rise / _noise_rise(SUN_PASS_THRESHOLD_DB))
    position = (unix_s - sun_pass.peak_unix_s) / half_s
    return 10.0 * log10(1.0 + peak_rise * exp(-steepness * position**2))


def _noise_rise(loss_db: float) -> float:
    """The added noise over the system noise (1) that costs `loss_db`."""
    return float(10.0 ** (loss_db / 10.0)) - 1.0
