"""What the uplink should lose beside a loss of the downlink: a turned dish differs in it from all else.

A pointing error costs dB with the square of the frequency (12(error/beamwidth)²), so the uplink loses more
than the downlink. Rain, clouds and obstacles attenuate the uplink too, but they also radiate noise into the
terminal's receiver, and that the downlink alone feels (ITU-R P.618-14 section 3).
"""

from dataclasses import dataclass
from math import exp, isnan, log, log10, nan

from agent.link_plan import Budget, LinkPlan
from agent.watch.in_path import in_path_loss_db

DEEPEST_DB = 40.0
HALVINGS = 20
IN_HAND_DB = 6.0  # of power, on average, for an uplink that the network levels (judgement)
FLAT = 2.5066  # of a flat density as `_density` counts, sqrt(2 pi)
NOT_TO_BE_BELIEVED = 10.0  # standard deviations; further ones count no more


@dataclass(frozen=True, slots=True)
class UplinkLoss:
    """Fall of the uplink's Es/N0 (dB): by a turned dish, and the range of what stands in the path."""

    mispoint_db: float
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

    An obstacle takes the same at both frequencies, and rain as the plan's rain does or with the square of
    the frequency. Otherwise as `mispoint_loss_db`.
    """
    down, up = plan.downlink, plan.uplink
    carrier_db = carrier_loss_db(down, downlink_loss_db)
    squared = mispoint_ratio(plan)
    attenuation_db = _attenuation_db(down, carrier_db)
    rain = up.rain_at_rate_db / down.rain_at_rate_db if down.rain_at_rate_db > 0.0 else squared
    return UplinkLoss(
        mispoint_db=mispoint_loss_db(plan, downlink_loss_db),
        least_in_path_db=attenuation_db,
        most_in_path_db=max(carrier_db, attenuation_db * max(squared, rain)),
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


def mispoint_log_odds(
    measured_db: float, expected: UplinkLoss, spread_db: float, own_spread_db: float, controlled: float
) -> float:
    """How much likelier a turned dish makes this loss of the uplink than something in the path (log of it).

    `spread_db` is of what either would take, `own_spread_db` of the measured figure alone. With probability
    `controlled` the network made up for the loss, and then an uplink that lost nothing says nothing.
    """
    in_path_db = max(expected.least_in_path_db, min(expected.most_in_path_db, measured_db))
    turned, in_path = (
        (1.0 - controlled) * _density(measured_db - lost_db, spread_db)
        + controlled * _made_up(measured_db, most_db, own_spread_db)
        for lost_db, most_db in (
            (expected.mispoint_db, expected.mispoint_db),
            (in_path_db, expected.most_in_path_db),
        )
    )
    return log(turned / in_path)


def _made_up(measured_db: float, lost_db: float, spread_db: float) -> float:
    """Density of what is left of a loss that the network makes up for, wholly or in part."""
    wholly = exp(-max(0.0, lost_db) / IN_HAND_DB)
    in_part = (1.0 - wholly) * FLAT / lost_db if 0.0 <= measured_db <= lost_db else 0.0
    return wholly * _density(measured_db, spread_db) + in_part


def _density(off_db: float, spread_db: float) -> float:
    """Of the normal distribution but for a common factor."""
    off = min(abs(off_db) / spread_db, NOT_TO_BE_BELIEVED)
    return exp(-0.5 * off * off) / spread_db


def _attenuation_db(budget: Budget, carrier_loss_db: float) -> float:
    """The attenuation that with its own noise takes so much from the carrier over noise (dB)."""
    if isnan(carrier_loss_db) or budget.system_noise_k is None or isnan(budget.system_noise_k):
        return nan
    low_db, high_db = 0.0, DEEPEST_DB
    for _ in range(HALVINGS):
        middle_db = 0.5 * (low_db + high_db)
        taken_db = in_path_loss_db(middle_db, budget.system_noise_k)
        low_db, high_db = (middle_db, high_db) if taken_db < carrier_loss_db else (low_db, middle_db)
    return 0.5 * (low_db + high_db)
