"""Decides what the uplink should lose beside a loss of the downlink: a turned dish differs from all else.

A pointing error costs dB with the square of the frequency (12(error/beamwidth)²), so the uplink loses more
than the downlink. Rain, clouds and obstacles attenuate the uplink too, but they also radiate noise into the
terminal's receiver, and that the downlink alone feels (ITU-R P.618-14 section 3).
"""

from dataclasses import dataclass
from functools import lru_cache
from math import isnan, log10, nan

from agent.link_plan import Budget, LinkPlan
from agent.watch.in_path import in_path_loss_db

DEEPEST_DB = 40.0  # no modem is locked behind so much
HALVINGS = 20  # to 40 microdecibels


@dataclass(frozen=True, slots=True)
class UplinkLoss:
    """Fall of the uplink's Es/N0 (dB): by a turned dish, by rain or cloud, and by anything in the path."""

    mispoint_db: float
    least_rain_db: float
    most_rain_db: float
    least_in_path_db: float
    most_in_path_db: float


def mispoint_ratio(plan: LinkPlan) -> float:
    """Decibels that a turned dish costs the uplink for each that it costs the downlink's carrier."""
    return (plan.downlink.beamwidth_deg / plan.uplink.beamwidth_deg) ** 2


def mispoint_loss_db(plan: LinkPlan, downlink_loss_db: float) -> float:
    """What the uplink loses if a turned dish took `downlink_loss_db` (dB of Es/N0) from the downlink.

    Interference is taken to fade with the downlink, and to stay as it is on the uplink. NaN in, NaN out; NaN
    too where the plan has no link.
    """
    return carrier_loss_db(plan.downlink, downlink_loss_db) * mispoint_ratio(plan)


def uplink_loss(plan: LinkPlan, downlink_loss_db: float) -> UplinkLoss:
    """What should cost the uplink as much as took `downlink_loss_db` (dB of Es/N0) from the downlink.

    An obstacle takes the same at both frequencies, rain and cloud as the plan's rain does or with the square
    of the frequency. Otherwise as `mispoint_loss_db`.
    """
    down, up = plan.downlink, plan.uplink
    carrier_db = carrier_loss_db(down, downlink_loss_db)
    squared = mispoint_ratio(plan)
    in_path_db = attenuation_db(down, carrier_db)
    rain = up.rain_at_rate_db / down.rain_at_rate_db if down.rain_at_rate_db > 0.0 else squared
    return UplinkLoss(
        mispoint_db=mispoint_loss_db(plan, downlink_loss_db),
        least_rain_db=in_path_db * min(squared, rain),
        most_rain_db=in_path_db * max(squared, rain),
        least_in_path_db=in_path_db,
        most_in_path_db=max(carrier_db, in_path_db * max(squared, rain)),
    )


def carrier_loss_db(budget: Budget, esno_loss_db: float) -> float:
    """Fall of the carrier over the thermal noise behind this fall of Es/N0 (dB); C/I stays as it was.

    NaN in, NaN out; NaN too for a rise that the interference does not allow.
    """
    share = 0.0
    if budget.interference_cn_db is not None:
        share = float(10.0 ** ((budget.esno_clear_db - budget.interference_cn_db) / 10.0))
    left = (float(10.0 ** (esno_loss_db / 10.0)) - share) / (1.0 - share)
    return 10.0 * log10(left) if left > 0.0 else nan


def attenuation_db(budget: Budget, carrier_loss_db: float) -> float:
    """The attenuation that with its own noise takes so much from the carrier over noise (dB)."""
    if isnan(carrier_loss_db) or budget.system_noise_k is None or isnan(budget.system_noise_k):
        return nan
    return _attenuation_db(budget.system_noise_k, carrier_loss_db)


@lru_cache(maxsize=8)  # sky, uplink and received level ask for the same within a decision
def _attenuation_db(system_noise_k: float, carrier_loss_db: float) -> float:
    low_db, high_db = 0.0, DEEPEST_DB
    for _ in range(HALVINGS):
        middle_db = 0.5 * (low_db + high_db)
        taken_db = in_path_loss_db(middle_db, system_noise_k)
        low_db, high_db = (middle_db, high_db) if taken_db < carrier_loss_db else (low_db, middle_db)
    return 0.5 * (low_db + high_db)
