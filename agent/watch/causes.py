"""Why the signal is down: evidence for and against each cause, weighed as log-odds.

Weights are in natural-logarithm units: 1 makes a cause 2.7 times as likely against the rest, 3 makes it
twenty times. They come from the physics named beside them; the size of each is judgement.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import exp, hypot, inf, isnan, nan
from typing import Literal

from agent.watch.uplink import LEVELLED, UplinkLoss, turned_log_odds

SignalCause = Literal["mispoint", "rain", "sun-pass", "blockage"]
SIGNAL_CAUSES: tuple[SignalCause, ...] = ("mispoint", "rain", "sun-pass", "blockage")
UNKNOWN_WEIGHT = 0.0  # the cause that nobody thought of

# Sizes below are judgement where no source stands beside them; tests.bench.detection shows what they do.
SPACINGS = 2.5  # an onset within two spacings of the readings, and their jitter, may have been abrupt
ABRUPT_S = 30.0  # a gust or knock is over in seconds; three cells of the decision grid
DENSE_S = 20.0  # readings this close show a shower's onset as it is
RAIN_ONSET_S = (45.0, 900.0)  # the front of a shower takes about a minute to a quarter of an hour
SLIDE_S = 1200.0  # a sinking tripod goes one way for longer than a shower grows
FLAT_STEPS_S = ((120.0, 1.0), (300.0, 0.7), (600.0, 0.8), (1200.0, 1.0))  # steady so long: weight on top
JITTER = 0.9  # of the times of readings
STEADY_INTERVAL_S = 150.0  # rarer readings take proportionally longer to be called steady
DRY_STRETCH = 5.0  # but no more than this many times as long where a gauge says that it is dry
TOWERING = 2.0  # times as much water as in a thick cloud is seldom, without rain
FORGOTTEN_S = 1200.0  # steady for so long, what it did before tells no more
AFTER_RAIN_S = 1200.0  # so long dry and steady, and what is still missing is not the rain's
DRY_THROUGHOUT_S = 900.0  # a shower that takes so long to cross the path wets a gauge beside the dish
ROUGH = 3.0  # minute to minute against the hour before: rain is an order of magnitude above a still dish
QUIET = 1.7
HARD_PUSH_DB = 4.5  # a dish that is not stowed in time seldom turns by half a beamwidth and stays
UNNOTICED_DB = 8.0  # nor does one slide so far before anybody looks
UPLINK_DOUBT = 0.15  # the beam's shape, the rain's temperature and the interference are known this well
UPLINK_MOST = 3.0
UPLINK_LEAST = -7.0  # a dish that is turned costs the uplink what the parabola says, or it is not turned
UPLINK_FITS = 2.5  # further from what a turned dish takes, it is something else again
STEP_SPREAD = 0.41  # standard deviation of what two values in steps hide of their difference, 1/sqrt(6)
DRIFT_DB = 0.2  # of both references against each other
NOISES_THAT_TELL = 2.5  # a loss of fewer standard deviations of the minute means is not sure


@dataclass(frozen=True, slots=True)
class SignalFacts:
    """What is known of a loss of signal; NaN where it is not. Times are in seconds before now."""

    loss_db: float
    noise_db: float
    resolution_db: float
    coarse: bool  # the figure moves in steps that make every change abrupt and every level flat
    interval_s: float
    onset_s: float
    slow_start: bool
    age_s: float
    jump_age_s: float
    rise_db: float  # what the last jump took
    jump_db: float  # the same with no more certainty than the figure has
    flat_s: float
    slide_s: float
    turns: int
    worsened: int
    gust_at_onset: bool
    knock_at_onset: bool
    rain_seen: bool
    gauge_dry: bool
    rain_over: bool
    rained: bool  # since the loss set in, or just before
    roughness: float
    went_before: int
    rain_reach_db: float  # what the heaviest of rains takes from this link
    cloud_reach_db: float  # what a thick cloud without rain takes from it
    sun_loss_db: float
    dips: int
    locked: bool
    downlink_loss_db: float
    downlink_noise_db: float
    uplink_loss_db: float
    uplink_noise_db: float
    transmit_told: bool  # and so accounted for in the uplink's loss
    uplink_expected: UplinkLoss


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation that speaks for (weight > 0) or against a cause, in the crew's words."""

    cause: SignalCause
    weight: float
    words: str


def weigh(facts: SignalFacts) -> tuple[Mapping[SignalCause, float], tuple[Evidence, ...]]:
    """Confidence (0 to 1) in each cause and the evidence behind it; the rest to 1 is "something else"."""
    evidence = tuple(item for source in _SOURCES for item in source(facts))
    totals = dict.fromkeys(SIGNAL_CAUSES, 0.0)
    for item in evidence:
        totals[item.cause] += item.weight
    odds = {cause: exp(max(-30.0, min(30.0, total))) for cause, total in totals.items()}
    whole = sum(odds.values()) + exp(UNKNOWN_WEIGHT)
    return {cause: value / whole for cause, value in odds.items()}, evidence


def _resolution(interval_s: float) -> float:
    """How much an abrupt onset says at this sampling (0 to 1): between rare samples a shower looks abrupt."""
    if isnan(interval_s):
        return 0.0
    return max(0.15, min(1.0, DENSE_S / max(interval_s, 1.0)))


def _abrupt(facts: SignalFacts) -> bool:
    return facts.onset_s <= max(ABRUPT_S, SPACINGS * facts.interval_s)


def _cloud_like(facts: SignalFacts) -> bool:
    return facts.loss_db <= TOWERING * facts.cloud_reach_db and not _abrupt(facts)


def _came_as_rain(facts: SignalFacts) -> bool:
    shortest_s = max(RAIN_ONSET_S[0], SPACINGS * facts.interval_s)
    return shortest_s < facts.onset_s <= RAIN_ONSET_S[1] - facts.interval_s


def _rain_ruled_out(facts: SignalFacts) -> bool:
    """Whether no rain can have taken this much, or a gauge has stayed dry all through a long loss."""
    return facts.loss_db > facts.rain_reach_db or _dry_throughout(facts)


def _dry_throughout(facts: SignalFacts) -> bool:
    return facts.gauge_dry and not facts.rained and facts.age_s >= DRY_THROUGHOUT_S


def _sky_unknown(facts: SignalFacts) -> bool:
    """Whether it may be rain, and no gauge, note or uplink says anything of it."""
    told = facts.rain_seen or facts.gauge_dry or not isnan(facts.uplink_loss_db)
    return not told and not facts.loss_db > facts.rain_reach_db


def _onset(facts: SignalFacts) -> Iterator[Evidence]:
    sure = _resolution(facts.interval_s)
    if facts.slow_start:
        sure *= 0.4
    if facts.coarse and facts.rise_db < 1.5 * facts.resolution_db:
        sure = 0.0  # any change looks abrupt that moves the figure by one step
    if isnan(facts.onset_s):
        if facts.interval_s <= DENSE_S and facts.slide_s < SLIDE_S:
            yield Evidence("mispoint", -1.0, "no clear edge")
        return
    if _abrupt(facts):
        words = f"{facts.loss_db:.1f} dB went within {max(facts.onset_s, facts.interval_s):.0f} s"
        yield Evidence("mispoint", 2.0 * sure, words)
        yield Evidence("blockage", 1.0 * sure, words)
        yield Evidence("rain", -1.5 * sure, words)
    elif _came_as_rain(facts):
        words = f"the loss took {facts.onset_s / 60.0:.0f} min to come"
        possible = 0.3 if _rain_ruled_out(facts) else 1.0
        yield Evidence("rain", 1.2 * possible, words)
        yield Evidence("mispoint", -2.0 * possible, words)
        yield Evidence("blockage", -2.0, words)
    elif facts.onset_s == inf:
        yield Evidence("blockage", -3.0, "the loss came slowly")
    if facts.slow_start:
        yield Evidence("rain", 1.0, "it began slowly")
        yield Evidence("blockage", -2.0, "it began slowly")
        yield Evidence("mispoint", -0.3 if _rain_ruled_out(facts) else -1.0, "it began slowly")


def _course(facts: SignalFacts) -> Iterator[Evidence]:
    # Without lock the figure stands still whatever the sky does.
    flat_s = min(facts.flat_s, facts.age_s) if facts.locked else 0.0
    # Rare samples hide what happens between them: it takes as many of them to call a level steady.
    stretch = max(1.0, facts.interval_s / STEADY_INTERVAL_S)
    if facts.gauge_dry:
        stretch = min(stretch, DRY_STRETCH)
    steady = sum(weight for limit_s, weight in FLAT_STEPS_S if flat_s >= JITTER * stretch * limit_s)
    if _came_as_rain(facts) or facts.coarse or _cloud_like(facts):
        steady *= 0.5
    if steady:
        words = f"steady for {flat_s / 60.0:.0f} min"
        yield Evidence("mispoint", steady, words)
        yield Evidence("rain", -steady, words)
    elif facts.interval_s > STEADY_INTERVAL_S:
        yield Evidence("mispoint", -1.0, "too few readings since")
    slow = isnan(facts.onset_s) or facts.onset_s > RAIN_ONSET_S[1] - facts.interval_s
    # Clouds and the steady rain of a front grow for hours as well.
    clear = facts.gauge_dry or facts.loss_db > facts.rain_reach_db or _uplink_log_odds(facts) > 0.0
    only_a_dish = clear and not facts.loss_db <= TOWERING * facts.cloud_reach_db
    if slow and only_a_dish and facts.slide_s >= SLIDE_S and facts.age_s >= SLIDE_S / 2.0:
        words = f"has only grown for {facts.slide_s / 60.0:.0f} min"
        sure = 1.0 if facts.interval_s <= 2.0 * STEADY_INTERVAL_S else 0.5
        yield Evidence("mispoint", sure * (2.5 if facts.slide_s >= 2.0 * SLIDE_S else 1.5), words)
        yield Evidence("rain", -1.0, words)
    yield from _unrest(facts, flat_s, stretch)


def _unrest(facts: SignalFacts, flat_s: float, stretch: float) -> Iterator[Evidence]:
    """How the loss behaves against the hours before it."""
    if facts.rain_over and flat_s >= stretch * AFTER_RAIN_S:
        yield Evidence("mispoint", 2.5, "the rain is over and the loss has stayed")
        yield Evidence("rain", -3.0, "the rain is over and the loss has stayed")
    elif facts.turns:
        words = "comes and goes"
        yield Evidence("rain", 1.5, words)
        # Steady since, it has stopped doing so.
        faded = 1.0 - min(1.0, flat_s / (stretch * FORGOTTEN_S))
        yield Evidence("mispoint", -2.0 * min(facts.turns, 2) * faded, words)
    if facts.age_s >= FLAT_STEPS_S[0][0] > 2.0 * facts.flat_s and facts.slide_s < SLIDE_S:
        yield Evidence("mispoint", -1.5, "not steady")
    if facts.roughness >= ROUGH:
        yield Evidence("rain", 1.5, "less quiet than before")
        yield Evidence("mispoint", -2.0, "less quiet than before")
    elif facts.roughness <= QUIET and not facts.coarse and flat_s >= stretch * FLAT_STEPS_S[1][0]:
        yield Evidence("mispoint", 0.7, "as quiet as before")
    if facts.went_before and not facts.rain_over:
        words = "losses like it went by themselves before"
        yield Evidence("mispoint", -1.2 * min(facts.went_before, 3), words)
    if facts.worsened >= 3:
        yield Evidence("mispoint", -1.0, "still falling")


def _mechanics(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.knock_at_onset:
        yield Evidence("mispoint", 2.0, "the crew noted a knock just before")
    elif facts.gust_at_onset:
        # Squalls bring rain as well: without a quick look at the onset a gust says little.
        sure = _resolution(facts.interval_s) * (0.5 if facts.coarse else 1.0)
        yield Evidence("mispoint", 0.3 + 1.2 * sure, "a strong gust just before")


def _sky(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.rain_seen and not facts.loss_db > facts.rain_reach_db:
        yield Evidence("rain", 4.0, "rain seen or measured")
        yield Evidence("mispoint", -3.0, "rain seen or measured")
    elif facts.gauge_dry:
        # It may be dry here and raining where the path crosses the cloud.
        yield Evidence("rain", -1.2, "the rain gauge is dry")
        yield Evidence("mispoint", 0.4, "the rain gauge is dry")
        if _dry_throughout(facts):
            yield Evidence("rain", -0.6, "the rain gauge was dry all the time")
            yield Evidence("mispoint", 0.6, "the rain gauge was dry all the time")
    elif facts.rained and not facts.rain_over:
        yield Evidence("rain", 1.5, "it rained during this loss")
        yield Evidence("mispoint", -1.5, "it rained during this loss")
    if _sky_unknown(facts):
        yield Evidence("mispoint", -0.8, "nothing tells whether it rains")
    if facts.loss_db > facts.rain_reach_db:
        words = "more than rain takes at this frequency"
        yield Evidence("rain", -3.0, words)
        yield Evidence("mispoint", 0.3, words)
    elif facts.loss_db <= facts.cloud_reach_db:
        yield Evidence("mispoint", -2.0, "no more than a thick cloud takes at this frequency")
    elif _cloud_like(facts):
        yield Evidence("mispoint", -1.5, "hardly more than a thick cloud takes at this frequency")
    if facts.sun_loss_db > 0.1:
        yield Evidence("sun-pass", 5.0, "the sun stands behind the satellite now")
        yield Evidence("mispoint", -3.0, "the sun stands behind the satellite now")
    else:
        yield Evidence("sun-pass", -10.0, "no sun pass now")


def _depth(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.loss_db < NOISES_THAT_TELL * facts.noise_db:
        yield Evidence("mispoint", -1.5, "hardly more than the signal's own unrest")
    sure = _resolution(facts.interval_s)
    if sure < 1.0:
        yield Evidence("blockage", sure - 1.0, "sampled too rarely to tell")
    if UNNOTICED_DB <= facts.loss_db and facts.locked and not _rain_ruled_out(facts):
        yield Evidence("mispoint", -1.5, "deeper than a dish turns unnoticed")
    if facts.jump_db < 3.0 and facts.locked:
        yield Evidence("blockage", -3.0, f"only {facts.jump_db:.1f} dB")
    elif facts.jump_db >= 6.0 or not facts.locked:
        words = "lock is lost" if not facts.locked else f"{facts.jump_db:.1f} dB is more than a nudge"
        yield Evidence("blockage", 1.0 + 1.5 * sure, words)
        yield Evidence("mispoint", -2.5, words)
        yield Evidence("rain", 1.0 - sure, words)
    else:
        yield Evidence("blockage", 0.5, f"{facts.jump_db:.1f} dB")
        if facts.jump_db >= HARD_PUSH_DB:
            yield Evidence("mispoint", -0.8, "a hard push for a gust")
    if facts.dips >= 2:
        yield Evidence("blockage", 2.0, f"{facts.dips} short drops in ten minutes")
        yield Evidence("mispoint", -1.5, f"{facts.dips} short drops in ten minutes")
        yield Evidence("rain", -2.0, f"{facts.dips} short drops in ten minutes")
    if facts.jump_age_s > 300.0:
        yield Evidence("blockage", -1.5, "lasts longer than somebody in the beam")


def _uplink_log_odds(facts: SignalFacts) -> float:
    """How much likelier a turned dish makes the uplink's loss than something in the path; NaN: not known."""
    measured_db, turned_db = facts.uplink_loss_db, facts.uplink_expected.turned_db
    if not (facts.locked and facts.downlink_loss_db > 0.0 and turned_db > 0.0):
        return nan
    if isnan(measured_db - facts.uplink_expected.least_in_path_db):
        return nan
    downlink_db = turned_db / facts.downlink_loss_db * facts.downlink_noise_db
    own_db = hypot(facts.uplink_noise_db, DRIFT_DB)
    spread_db = hypot(own_db, downlink_db, UPLINK_DOUBT * turned_db)
    levelled = 0.0 if facts.transmit_told else LEVELLED
    log_odds = turned_log_odds(measured_db, facts.uplink_expected, spread_db, own_db, levelled)
    weight = max(UPLINK_LEAST, min(UPLINK_MOST, log_odds))
    return min(weight, 0.0) if abs(measured_db - turned_db) > UPLINK_FITS * spread_db else weight


def _uplink(facts: SignalFacts) -> Iterator[Evidence]:
    weight = _uplink_log_odds(facts)
    if isnan(weight):
        return
    turned_db = facts.uplink_expected.turned_db
    words = f"the uplink lost {facts.uplink_loss_db:.1f} dB, a turned dish would take {turned_db:.1f} dB"
    yield Evidence("mispoint", weight if weight < 0.0 else 0.8 * weight, words)
    yield Evidence("rain", -0.8 * weight, words)
    yield Evidence("blockage", -0.8 * max(0.0, weight), words)


_SOURCES = (_onset, _course, _mechanics, _sky, _depth, _uplink)
