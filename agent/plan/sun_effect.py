"""What a sun pass leaves of the downlink: worst MODCOD and rate, whether lock holds, what is noticed."""

from math import log, sqrt

from agent.job import Job
from agent.link_plan import SUN_PASS_THRESHOLD_DB, SunPass, SunPassEffect
from agent.plan import equations
from agent.plan.budget import Direction, required_esno_db
from agent.plan.modcod import modcod_at, rate_mbps
from agent.plan.sun_noise import QUIET_SUN_SFU, sun_brightness_k

# A busy month at the height of a solar cycle (from memory); quiet is near 70.
ACTIVE_SUN_SFU = 200.0


def sun_pass_effect(job: Job, down: Direction, sun_pass: SunPass) -> SunPassEffect:
    """The downlink in clear sky during one pass, with an allowance for an active sun where none is given."""
    link = down.link
    rise = _noise_rise(sun_pass.depth_db) * _activity(job, link.path.frequency_ghz)
    depth_db = float(equations.decibels(1.0 + rise))
    worst_db = _esno_db(down, depth_db)
    worst = modcod_at(worst_db, link.rungs)
    short = _interval(sun_pass, rise, _bearable_db(down, required_esno_db(link, job.service.down_mbps)))
    lost = _interval(sun_pass, rise, _bearable_db(down, link.rungs[0].esno_db))
    return SunPassEffect(
        peak_unix_s=sun_pass.peak_unix_s,
        depth_db=depth_db,
        solar_flux_sfu=_flux_sfu(job),
        esno_db=worst_db,
        modcod=None if worst is None else worst.name,
        rate_mbps=rate_mbps(worst, link.symbol_rate_msps),
        short_from_unix_s=short[0],
        short_to_unix_s=short[1],
        lost_from_unix_s=lost[0],
        lost_to_unix_s=lost[1],
    )


def _flux_sfu(job: Job) -> float:
    return ACTIVE_SUN_SFU if job.day.solar_flux_sfu is None else job.day.solar_flux_sfu


def _activity(job: Job, frequency_ghz: float) -> float:
    """The sun's brightness over that with which the pass was computed (1)."""
    computed_sfu = job.day.solar_flux_sfu or QUIET_SUN_SFU
    allowed_k = sun_brightness_k(frequency_ghz, _flux_sfu(job))
    return float(allowed_k / sun_brightness_k(frequency_ghz, computed_sfu))


def _noise_rise(loss_db: float) -> float:
    return float(equations.ratio(loss_db)) - 1.0


def _esno_db(down: Direction, loss_db: float) -> float:
    """Es/N0 in clear sky with this loss of C/N0 (dB): what else disturbs the carrier stays as it is."""
    noise_db = equations.esno_db(down.clear.cn0_dbhz, down.link.symbol_rate_msps) - loss_db
    others_db = [one.cn_db for one in down.link.companions]
    return float(equations.combined_db(noise_db, *others_db))


def _bearable_db(down: Direction, required_db: float) -> float:
    """The loss of C/N0 (dB) that leaves just this Es/N0; 0 or less where it is not there to begin with."""
    others = sum(float(equations.ratio(-one.cn_db)) for one in down.link.companions)
    needed = float(equations.ratio(-required_db)) - others
    if not needed > 0.0:
        return 0.0
    noise_db = float(equations.esno_db(down.clear.cn0_dbhz, down.link.symbol_rate_msps))
    return noise_db + float(equations.decibels(needed))


def _interval(sun_pass: SunPass, rise: float, bearable_db: float) -> tuple[float | None, float | None]:
    """When the loss is more than is bearable: the noise follows a Gaussian bell, as in `sun_pass_loss_db`.

    None where it never is, and where the link does not carry it without the sun either.
    """
    if bearable_db <= 0.0 or rise <= _noise_rise(bearable_db):
        return None, None
    steepness = log(_noise_rise(sun_pass.depth_db) / _noise_rise(SUN_PASS_THRESHOLD_DB))
    part = sqrt(log(rise / _noise_rise(bearable_db)) / steepness)
    before_s = sun_pass.peak_unix_s - sun_pass.start_unix_s
    after_s = sun_pass.end_unix_s - sun_pass.peak_unix_s
    return sun_pass.peak_unix_s - part * before_s, sun_pass.peak_unix_s + part * after_s
