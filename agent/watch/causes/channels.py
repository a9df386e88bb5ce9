"""Decides how well what the uplink and the received level lost fits each cause of the downlink's loss.

A turned dish costs decibels with the square of the frequency, so the uplink loses more than the downlink.
Rain, clouds and what wets the reflector attenuate the uplink too, but radiate noise into the terminal's
receiver, which the downlink alone feels (ITU-R P.618-14 section 3). Interference, the satellite's power and
the receiver's drift leave the uplink alone. The received level falls with the carrier and rises with noise.
"""

from collections.abc import Mapping
from math import exp, hypot, isnan, log10, pi, sqrt
from typing import NamedTuple

from agent.link_plan import LinkPlan
from agent.watch.causes.names import LossCause
from agent.watch.uplink import attenuation_db, carrier_loss_db, uplink_loss

Likelihoods = Mapping[LossCause, float]

CONTROLLED = 0.22  # chance that the network has a terminal send more when its uplink loses (judgement)
IN_HAND_DB = 6.0  # of power, on average, for an uplink that the network controls (judgement)
UPLINK_DRIFT_DB = 0.15  # of both levels against each other since the loss set in (judgement)
UPLINK_DOUBT = 0.15  # the beam's shape and the rain's temperature are known this well (judgement)
SOMETHING_ELSE = 0.1  # chance that the uplink has a trouble of its own (judgement)
ANY_LOSS_DB = 12.0  # over which such a trouble's loss is spread
LEVEL_DRIFT_DB = 0.2  # of a received level since then, by the LNB's temperature (judgement)
LEVEL_DOUBT = 0.12
LEVEL_ELSE = 0.25  # chance that the level is of more than this carrier, and tells nothing (judgement)
ANY_LEVEL_DB = 10.0
FAR = 8.0  # standard deviations; further ones count no more


class Measured(NamedTuple):
    """A loss (dB) and its standard deviation."""

    loss_db: float
    noise_db: float


def uplink_likelihoods(
    up: Measured, down: Measured, power_told: bool, plan: LinkPlan
) -> tuple[Likelihoods, float] | None:
    """How well the uplink's loss fits each cause, and what a turned dish would take from it (dB).

    None where the plan or the downlink does not tell what the uplink should lose.
    """
    expected = uplink_loss(plan, down.loss_db)
    turned_db, least_db, most_db = expected.mispoint_db, expected.least_in_path_db, expected.most_in_path_db
    if not turned_db > 0.0 or isnan(least_db):
        return None
    own_db = hypot(up.noise_db, UPLINK_DRIFT_DB)
    ratio_noise_db = turned_db / down.loss_db * down.noise_db
    controlled = 0.0 if power_told else CONTROLLED

    def fit(low_db: float, high_db: float, uncontrolled_db: float) -> float:
        near_db = max(low_db, min(high_db, up.loss_db))
        spread_db = hypot(own_db, ratio_noise_db, UPLINK_DOUBT * near_db)
        # Spread over a range, each place in it is less likely.
        within = (
            _density(up.loss_db - near_db, spread_db) * spread_db / hypot(spread_db, 0.4 * (high_db - low_db))
        )
        made_up = _made_up(up.loss_db, uncontrolled_db, own_db)
        return (1.0 - SOMETHING_ELSE) * (
            (1.0 - controlled) * within + controlled * made_up
        ) + SOMETHING_ELSE / ANY_LOSS_DB

    rain = fit(expected.least_rain_db, expected.most_rain_db, expected.most_rain_db)
    none = (1.0 - SOMETHING_ELSE) * _density(up.loss_db, own_db) + SOMETHING_ELSE / ANY_LOSS_DB
    carrier_db = carrier_loss_db(plan.downlink, down.loss_db)
    return {
        "mispoint": fit(turned_db, turned_db, turned_db),
        "rain": rain,
        "cloud": rain,
        "reflector": fit(0.8 * least_db, most_db, most_db),
        "blockage": fit(0.8 * least_db, 1.1 * carrier_db, most_db),
        "interference": none,
        "satellite": none,
        "drift": none,
        "clear": none,
    }, turned_db


def level_likelihoods(level: Measured, down: Measured, plan: LinkPlan) -> tuple[Likelihoods, float] | None:
    """How well the fall of the received level fits each cause, and that by a turned dish (dB).

    None where the plan does not tell what it should lose.
    """
    lost_db, own_db = down.loss_db, hypot(level.noise_db, LEVEL_DRIFT_DB)
    carrier_db = carrier_loss_db(plan.downlink, lost_db)
    in_path_db = attenuation_db(plan.downlink, carrier_db)
    if isnan(in_path_db):
        return None
    clear = 10.0 ** (plan.downlink.esno_clear_db / 10.0)

    def fall_db(carrier_less_db: float, noise_more_db: float) -> float:
        return 10.0 * log10(
            (clear + 1.0) / (clear * 10.0 ** (-carrier_less_db / 10.0) + 10.0 ** (noise_more_db / 10.0))
        )

    def fit(expected_db: float) -> float:
        spread_db = hypot(own_db, LEVEL_DOUBT * expected_db, expected_db / lost_db * down.noise_db)
        return (1.0 - LEVEL_ELSE) * _density(
            level.loss_db - expected_db, spread_db
        ) + LEVEL_ELSE / ANY_LEVEL_DB

    turned_db = fall_db(lost_db, 0.0)
    turned, in_path = fit(turned_db), fit(fall_db(in_path_db, carrier_db - in_path_db))
    return {
        "mispoint": turned,
        "satellite": turned,
        "rain": in_path,
        "cloud": in_path,
        "reflector": in_path,
        "blockage": in_path,
        "interference": fit(fall_db(0.0, lost_db)),
        "drift": 0.5 * (fit(0.0) + fit(0.5 * turned_db)),
        "clear": fit(0.0),
    }, turned_db


def in_frost(likelihoods: Likelihoods) -> Likelihoods:
    """Dry snow and ice scatter, which costs decibels with the square of the frequency, as a turned dish does.

    A wet reflector attenuates instead, and radiates noise (Ruze 1966, from memory).
    """
    return {**likelihoods, "reflector": max(likelihoods["reflector"], likelihoods["mispoint"])}


def _made_up(measured_db: float, lost_db: float, spread_db: float) -> float:
    """Density of what is left of a loss that the network makes up for, wholly or in part."""
    wholly = exp(-max(0.0, lost_db) / IN_HAND_DB)
    in_part = (1.0 - wholly) / lost_db if 0.0 <= measured_db <= lost_db else 0.0
    return wholly * _density(measured_db, spread_db) + in_part


def _density(off_db: float, spread_db: float) -> float:
    """Of the normal distribution (1/dB)."""
    off = min(abs(off_db) / spread_db, FAR)
    return exp(-0.5 * off * off) / (spread_db * sqrt(2.0 * pi))
