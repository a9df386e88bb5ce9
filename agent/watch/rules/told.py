"""Decides what several rules tell alike: the evidence for and against a cause, figures of signal and tests."""

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite, isnan

from agent.watch.causes.calibration import stated
from agent.watch.causes.loss import ONSET_DB
from agent.watch.causes.names import LossCause
from agent.watch.feature_stage import View
from agent.watch.rules.rule import FLAG
from agent.wording import Said

AGED_SPACINGS = 2.0  # one reading may be lost
LATE_SPACINGS = 3.0  # an input that is heard no later than that is fresh
LATE_LEAST_S = 30.0  # three decisions: nobody sees a page change sooner
LIKELIER = 0.5  # a cause more likely than not
LOSS = "loss-"  # how the codes begin that name a loss
WORTH_A_WORD = 0.3  # change of the log-odds
# Words for probabilities, after those of the IPCC's guidance note of 2010, from memory.
SURE = (
    (0.95, "sure-almost"),
    (0.8, "sure-very-likely"),
    (0.55, "sure-likely"),
    (0.3, "sure-possible"),
    (0.0, "sure-hardly"),
)


def known(**figures: float | str) -> dict[str, float | str]:
    """The figures that are finite: what is not known is left out of the sentence."""
    return {name: value for name, value in figures.items() if isinstance(value, str) or isfinite(value)}


def finite(value: float) -> float | None:
    """The value, None where it is not known."""
    return value if isfinite(value) else None


def loss_said(view: View, cause: str, loss_db: float) -> Said:
    """The loss (dB) by the name of its cause, and what the stream has left where that is known."""
    left_mbps = view.rate.headroom_mbps
    if not (view.features.streaming and isfinite(left_mbps)):
        return Said(f"{LOSS}{cause}", {"loss_db": loss_db})
    return Said(f"{LOSS}{cause}-stream", {"loss_db": loss_db, "left_mbps": max(0.0, left_mbps)})


def missing(loss: Said) -> Said:
    """How much a loss takes, without its cause."""
    return Said("missing", {"loss_db": loss.figures["loss_db"]})


def for_and_against(view: View, cause: LossCause) -> tuple[Said, ...]:
    """What spoke for and against the cause, the weightiest first, and in a word how sure that makes."""
    verdict = view.signal.verdict
    if verdict is None:
        return ()
    found = [item for item in verdict.evidence(cause) if abs(item.weight) >= WORTH_A_WORD]
    weighed = sorted(found, key=lambda item: -abs(item.weight))
    sides = tuple(replace(item.what, side="for" if item.weight > 0.0 else "against") for item in weighed)
    return (*sides, Said(how_sure(stated(cause, view.signal.confidence[cause]))))


def how_likely(view: View, cause: LossCause) -> float | None:
    """The confidence to state for the cause (0 to 1).

    None while nothing is missing, the dish is moved, or there is no lock to judge by.
    """
    posterior = view.signal.confidence.get(cause)
    if posterior is None or view.features.peaking >= FLAG or view.features.unlocked >= FLAG:
        return None
    return stated(cause, posterior)


def how_sure(confidence: float) -> str:
    """The word for a probability."""
    return next(code for least, code in SURE if confidence >= least)


def not_heard(view: View) -> tuple[Said, ...]:
    """That the level is not known any more; nothing while it is."""
    if isfinite(view.signal.level_db):
        return ()
    return (Said("not-heard", {"input": "signal", "silent_s": view.link.silent_s}),)


def late(age_s: float, usual_s: float) -> bool:
    """Whether an input has not been heard for so long that its last word is not the present any more."""
    return age_s > max(LATE_LEAST_S, LATE_SPACINGS * (0.0 if isnan(usual_s) else usual_s))


def signal_late(view: View) -> bool:
    """The same of the signal."""
    return late(view.link.silent_s, view.link.usual_s)


def aged(view: View) -> tuple[Said, ...]:
    """How old the last reading of the signal is, where it is not the present any more."""
    link = view.link
    return (Said("as-of", {"age_s": link.silent_s}),) if link.silent_s > AGED_SPACINGS * link.usual_s else ()


def signal_figures(view: View) -> Mapping[str, float]:
    """The numbers behind an alert about the signal."""
    signal = view.signal
    return {
        "level_db": signal.level_db,
        "deficit_db": signal.deficit_db,
        "unexplained_db": signal.unexplained_db,
        "sun_loss_db": signal.sun_loss_db,
        "rain_loss_db": signal.rain_loss_db,
        "uplink_loss_db": signal.uplink_loss_db,
        **{f"confidence_{name}": value for name, value in signal.confidence.items()},
    }


def signal_over(view: View, lasted_s: float) -> tuple[Said, ...]:
    """How an alert about the signal ends: after how long, and what is missing still."""
    return (Said("over", {"lasted_s": lasted_s}), *still_missing(view))


def cause_over(view: View, lasted_s: float) -> tuple[Said, ...]:
    """As `signal_over`, where the loss may have stayed and only its cause be in doubt."""
    code = "not-sure" if view.signal.deficit_db >= ONSET_DB else "over"
    return (Said(code, {"lasted_s": lasted_s}), *still_missing(view))


def dish_over(view: View, lasted_s: float) -> tuple[Said, ...]:
    """As `cause_over`, or put off: nobody turns the dish in rain or a sun pass."""
    over, *missing = cause_over(view, lasted_s)
    if not view.signal.deficit_db < ONSET_DB:
        if view.signal.rain_hides:
            over = replace(over, code="put-off-rain")
        elif view.signal.sun_pass_now:
            over = replace(over, code="put-off-sun-pass")
    return (over, *missing)


def tests_over(view: View, lasted_s: float) -> tuple[Said, ...]:
    """How an alert about the rate ends: mended, or the tests have grown too old to tell."""
    known_now, tested_unix_s = bool(view.features.rate_known), view.rate.tested_unix_s
    if isnan(tested_unix_s):  # nothing but echoes
        return (Said("over" if known_now else "not-sure", {"lasted_s": lasted_s}),)
    if not known_now or isnan(view.rate.up_mbps):
        return (Said("tests-old", {"tested_unix_s": tested_unix_s}),)
    return (Said("over", {"lasted_s": lasted_s}),)


def still_missing(view: View) -> tuple[Said, ...]:
    """What the signal lacks now; nothing where that is not known."""
    deficit_db = view.signal.deficit_db
    return (Said("below-now", {"deficit_db": max(0.0, deficit_db)}),) if isfinite(deficit_db) else ()


def rate_figures(view: View) -> Mapping[str, float]:
    """The numbers behind an alert about the rate."""
    rate = view.rate
    return {
        "down_mbps": rate.down_mbps,
        "up_mbps": rate.up_mbps,
        "throughput_ratio": rate.ratio,
        "rtt_ms": rate.rtt_ms,
        "loss_percent": rate.loss_percent,
        "headroom_mbps": rate.headroom_mbps,
    }


def rate_evidence(view: View) -> tuple[Said, ...]:
    """What the tests measured, against what is to be expected, and that the signal is fine."""
    rate, deficit_db = view.rate, view.signal.deficit_db
    if not view.features.rate_known:
        tested = known(tested_unix_s=rate.tested_unix_s)
        return (Said("last-test", tested),) if tested else ()
    tests = known(
        down_mbps=rate.down_mbps, up_mbps=rate.up_mbps, rtt_ms=rate.rtt_ms, loss_percent=rate.loss_percent
    )
    fine = (
        Said("signal-fine", {"deficit_db": deficit_db}) if isfinite(deficit_db) else Said("signal-not-known")
    )
    share = (Said("rate-share", {"rate_share": rate.ratio}),) if isfinite(rate.ratio) else ()
    return (*((Said("tests", tests),) if tests else ()), *share, fine)
