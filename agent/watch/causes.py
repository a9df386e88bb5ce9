"""Decides why the signal is down: evidence for and against each cause, weighed as log-odds.

Weights are in natural-logarithm units: 1 makes a cause 2.7 times as likely against the rest, 3 makes it
twenty times. They come from the physics named beside them; the size of each is judgement.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from math import exp, inf, isnan
from typing import Literal

from agent.watch.signal_facts import SignalFacts
from agent.wording import Said

SignalCause = Literal["mispoint", "rain", "sun-pass", "blockage"]
SIGNAL_CAUSES: tuple[SignalCause, ...] = ("mispoint", "rain", "sun-pass", "blockage")
UNKNOWN_WEIGHT = 0.0  # the cause that nobody thought of

# Sizes below are judgement where no source stands beside them; tests.bench.detection shows what they do.
DENSE_S = 20.0  # readings this close show a shower's onset as it is
SLIDE_S = 1200.0  # a sinking tripod goes one way for longer than a shower grows
FLAT_STEPS_S = ((120.0, 1.0), (300.0, 0.7), (600.0, 0.8), (1200.0, 1.0))  # steady so long: weight on top
JITTER = 0.9  # of the times of readings
STEADY_INTERVAL_S = 150.0  # rarer readings take proportionally longer to be called steady
FORGOTTEN_S = 1200.0  # steady for so long, what it did before tells no more
AFTER_RAIN_S = 1200.0  # so long dry and steady, and what is still missing is not the rain's
ROUGH = 3.0  # minute to minute against the hour before: rain is an order of magnitude above a still dish
QUIET = 1.7
HARD_PUSH_DB = 4.5  # a dish that is not stowed in time seldom turns by half a beamwidth and stays
UNNOTICED_DB = 8.0  # nor does one slide so far before anybody looks
SHALLOW_DB = 1.3  # what drift and clouds take within the time of a few rare readings
EDGE_SHARE = 0.25  # of what unrest says where a coarse display may make it alone
NOTE_OF_RAIN = 4.0  # who taps it stands in it; it ages with the note
BESIDE_DRY_GAUGE = 0.3  # which is late itself at both ends of a shower (judgement)
NOISES_THAT_TELL = 2.5  # a loss of fewer standard deviations of the minute means is not sure


@dataclass(frozen=True, slots=True)
class Evidence:
    """One observation that speaks for (weight > 0) or against a cause."""

    cause: SignalCause
    weight: float
    what: Said

    @property
    def said(self) -> Said:
        """The observation, and which side it takes."""
        return replace(self.what, side="for" if self.weight > 0.0 else "against")


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


def _remembered(facts: SignalFacts) -> float:
    """How much the beginning still says (0 to 1): a shower may have begun what a turned dish has kept up.

    That takes a level that has long stood still, and a gauge or an uplink that speaks for the dish.
    """
    if not (facts.gauge_dry or facts.uplink_log_odds > 0.0):
        return 1.0
    return 1.0 - min(1.0, _steady_s(facts) / (_stretch(facts) * FORGOTTEN_S))


def _steady_s(facts: SignalFacts) -> float:
    # Without lock the figure stands still whatever the sky does.
    return min(facts.flat_s, facts.age_s) if facts.locked else 0.0


def _stretch(facts: SignalFacts) -> float:
    # Rare samples hide what happens between them: it takes as many of them to call a level steady.
    return max(1.0, facts.interval_s / STEADY_INTERVAL_S)


def _onset(facts: SignalFacts) -> Iterator[Evidence]:
    sure = _resolution(facts.interval_s)
    against = _remembered(facts)
    if facts.slow_start:
        sure *= 0.4
    if facts.coarse and facts.rise_db < 1.5 * facts.resolution_db:
        sure = 0.0  # any change looks abrupt that moves the figure by one step
    if isnan(facts.onset_s):
        if facts.interval_s <= DENSE_S and facts.slide_s < SLIDE_S:
            yield Evidence("mispoint", -against, Said("no-edge"))
        return
    if facts.abrupt:
        words = Said(
            "went-within", {"loss_db": facts.loss_db, "within_s": max(facts.onset_s, facts.interval_s)}
        )
        yield Evidence("mispoint", 2.0 * sure, words)
        yield Evidence("blockage", 1.0 * sure, words)
        yield Evidence("rain", -1.5 * sure, words)
    elif facts.came_as_rain:
        words = Said("took", {"took_s": facts.onset_s})
        possible = 0.3 if facts.rain_ruled_out else 1.0
        yield Evidence("rain", 1.2 * possible, words)
        yield Evidence("mispoint", -2.0 * possible * against, words)
        yield Evidence("blockage", -2.0, words)
    elif facts.onset_s == inf:
        yield Evidence("blockage", -3.0, Said("came-slowly"))
    if facts.slow_start:
        yield Evidence("rain", 1.0, Said("began-slowly"))
        yield Evidence("blockage", -2.0, Said("began-slowly"))
        yield Evidence("mispoint", (-0.3 if facts.rain_ruled_out else -1.0) * against, Said("began-slowly"))


def _course(facts: SignalFacts) -> Iterator[Evidence]:
    flat_s, stretch = _steady_s(facts), _stretch(facts)
    steady = sum(weight for limit_s, weight in FLAT_STEPS_S if flat_s >= JITTER * stretch * limit_s)
    if facts.came_as_rain or facts.coarse or facts.cloud_like:
        steady *= 0.5
    if steady:
        words = Said("steady", {"steady_s": flat_s})
        yield Evidence("mispoint", steady, words)
        yield Evidence("rain", -steady, words)
    elif facts.interval_s > STEADY_INTERVAL_S:
        yield Evidence("mispoint", -1.0, Said("few-readings"))
    # Clouds and the steady rain of a front grow for hours as well.
    clear = facts.gauge_dry or facts.above_rain or facts.uplink_log_odds > 0.0
    only_a_dish = clear and not facts.cloud_like
    if facts.slower_than_rain and only_a_dish and facts.slide_s >= SLIDE_S and facts.age_s >= SLIDE_S / 2.0:
        words = Said("only-grown", {"grown_s": facts.slide_s})
        sure = 1.0 if facts.interval_s <= 2.0 * STEADY_INTERVAL_S else 0.5
        yield Evidence("mispoint", sure * (2.5 if facts.slide_s >= 2.0 * SLIDE_S else 1.5), words)
        yield Evidence("rain", -1.0, words)
    yield from _unrest(facts, flat_s, stretch)


def _unrest(facts: SignalFacts, flat_s: float, stretch: float) -> Iterator[Evidence]:
    """How the loss behaves against the hours before it."""
    restless = EDGE_SHARE if facts.on_an_edge else 1.0
    if facts.rain_over and flat_s >= stretch * AFTER_RAIN_S:
        yield Evidence("mispoint", 2.5, Said("rain-over-loss-stayed"))
        yield Evidence("rain", -3.0, Said("rain-over-loss-stayed"))
    elif facts.turns:
        words = Said("comes-and-goes")
        yield Evidence("rain", 1.5, words)
        # Steady since, it has stopped doing so.
        faded = 1.0 - min(1.0, flat_s / (stretch * FORGOTTEN_S))
        yield Evidence("mispoint", -2.0 * min(facts.turns, 2) * faded * restless, words)
    if facts.age_s >= FLAT_STEPS_S[0][0] > 2.0 * facts.flat_s and facts.slide_s < SLIDE_S:
        yield Evidence("mispoint", -1.5 * restless, Said("not-steady"))
    if facts.roughness >= ROUGH:
        yield Evidence("rain", 1.5, Said("less-quiet"))
        yield Evidence("mispoint", -2.0 * restless, Said("less-quiet"))
    elif facts.roughness <= QUIET and not facts.coarse and flat_s >= stretch * FLAT_STEPS_S[1][0]:
        yield Evidence("mispoint", 0.7, Said("as-quiet"))
    if facts.went_before and not facts.rain_over:
        words = Said("went-before")
        yield Evidence("mispoint", -1.2 * min(facts.went_before, 3), words)
    if facts.worsened >= 3:
        yield Evidence("mispoint", -1.0, Said("still-falling"))


def _mechanics(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.knock_at_onset:
        yield Evidence("mispoint", 2.0, Said("knock"))
    elif facts.gust_at_onset:
        # Squalls bring rain as well: without a quick look at the onset a gust says little.
        sure = _resolution(facts.interval_s) * (0.5 if facts.coarse else 1.0)
        yield Evidence("mispoint", 0.3 + 1.2 * sure, Said("gust"))


def _sky(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.rain_measured and not facts.above_rain:
        yield Evidence("rain", 4.0, Said("rain-seen"))
        yield Evidence("mispoint", -3.0, Said("rain-seen"))
    elif facts.gauge_dry:
        # It may be dry here and raining where the path crosses the cloud.
        yield Evidence("rain", -1.2, Said("gauge-dry"))
        yield Evidence("mispoint", 0.4, Said("gauge-dry"))
        if facts.dry_throughout:
            yield Evidence("rain", -0.6, Said("gauge-dry-throughout"))
            yield Evidence("mispoint", 0.6, Said("gauge-dry-throughout"))
    elif facts.worth_waiting:
        # In minutes it is known, and a turned dish is no worse for them.
        yield Evidence("mispoint", -3.2, Said("gauge-due"))
    elif facts.rained and not facts.rain_over:
        yield Evidence("rain", 1.5, Said("rained"))
        yield Evidence("mispoint", -1.5, Said("rained"))
    if facts.sky_unknown:
        # Between rare readings drift and clouds come and go unseen.
        shallow = facts.interval_s > STEADY_INTERVAL_S and facts.loss_db < SHALLOW_DB
        weight = -1.8 if shallow else -0.8
        yield Evidence("mispoint", weight, Said("sky-unknown"))
    if facts.above_rain:
        words = Said("above-rain")
        yield Evidence("rain", -3.0, words)
        yield Evidence("mispoint", 0.3, words)
    elif facts.loss_db <= facts.cloud_reach_db:
        yield Evidence("mispoint", -2.0, Said("cloud-reach"))
    elif facts.cloud_like:
        yield Evidence("mispoint", -1.5, Said("hardly-more-than-cloud"))


def _noted(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.rain_noted > 0.0 and not facts.rain_measured and not facts.above_rain:
        worth = NOTE_OF_RAIN * facts.rain_noted * (BESIDE_DRY_GAUGE if facts.gauge_dry else 1.0)
        yield Evidence("rain", worth, Said("rain-noted"))
        yield Evidence("mispoint", -0.75 * worth, Said("rain-noted"))


def _sun(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.sun_loss_db > 0.1:
        yield Evidence("sun-pass", 5.0, Said("sun-behind"))
        yield Evidence("mispoint", -3.0, Said("sun-behind"))
    else:
        yield Evidence("sun-pass", -10.0, Said("no-sun-pass"))


def _depth(facts: SignalFacts) -> Iterator[Evidence]:
    if facts.loss_db < NOISES_THAT_TELL * facts.noise_db:
        yield Evidence("mispoint", -1.5, Said("own-unrest"))
    sure = _resolution(facts.interval_s)
    if sure < 1.0:
        yield Evidence("blockage", sure - 1.0, Said("sampled-rarely"))
    the_skys = facts.locked and not facts.rain_ruled_out and not facts.uplink_log_odds > 0.0
    if UNNOTICED_DB <= facts.loss_db and the_skys:
        yield Evidence("mispoint", -3.0, Said("deeper-than-unnoticed"))
    if facts.jump_db < 3.0 and facts.locked:
        yield Evidence("blockage", -3.0, Said("only", {"jump_db": facts.jump_db}))
    elif facts.jump_db >= 6.0 or not facts.locked:
        words = Said("more-than-nudge", {"jump_db": facts.jump_db}) if facts.locked else Said("lock-lost")
        yield Evidence("blockage", 1.0 + 1.5 * sure, words)
        yield Evidence("mispoint", -2.5, words)
        yield Evidence("rain", 1.0 - sure, words)
    else:
        yield Evidence("blockage", 0.5, Said("jump", {"jump_db": facts.jump_db}))
        if facts.jump_db >= HARD_PUSH_DB:
            yield Evidence("mispoint", -0.8, Said("hard-push"))
    if facts.dips >= 2:
        drops = Said("short-drops", {"dips": facts.dips})
        yield Evidence("blockage", 2.0, drops)
        yield Evidence("mispoint", -1.5, drops)
        yield Evidence("rain", -2.0, drops)
    if facts.jump_age_s > 300.0:
        yield Evidence("blockage", -1.5, Said("too-long-for-beam"))


def _uplink(facts: SignalFacts) -> Iterator[Evidence]:
    weight = facts.uplink_log_odds
    if isnan(weight):
        return
    mispoint_db = facts.uplink_expected.mispoint_db
    words = Said("uplink-lost", {"uplink_db": facts.uplink_loss_db, "mispoint_db": mispoint_db})
    yield Evidence("mispoint", weight if weight < 0.0 else 0.8 * weight, words)
    yield Evidence("rain", -0.8 * weight, words)
    yield Evidence("blockage", -0.8 * max(0.0, weight), words)


_SOURCES = (_onset, _course, _mechanics, _sky, _noted, _sun, _depth, _uplink)
