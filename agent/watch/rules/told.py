"""What several rules tell alike: the evidence for and against a cause, the figures of signal and tests."""

from collections.abc import Mapping
from dataclasses import replace
from math import isfinite, isnan

from agent.watch.causes.calibration import stated
from agent.watch.causes.loss import ONSET_DB
from agent.watch.causes.names import LossCause
from agent.watch.feature_stage import View
from agent.wording import Said

AGED_SPACINGS = 2.0
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
    """The confidence to state for the cause (0 to 1), None while nothing is missing."""
    posterior = view.signal.confidence.get(cause)
    return None if posterior is None else stated(cause, posterior)


def how_sure(confidence: float) -> str:
    """The word for a probability."""
    return next(code for least, code in SURE if confidence >= least)


def not_heard(view: View) -> tuple[Said, ...]:
    """That the level is not known any more; nothing while it is."""
    if isfinite(view.signal.level_db):
        return ()
    return (Said("not-heard", {"input": "signal", "silent_s": view.link.silent_s}),)


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


def tests_over(view: View, lasted_s: float) -> tuple[Said, ...]:
    """How an alert about the rate ends: mended, or the tests have grown too old to tell."""
    if not view.features.rate_known or isnan(view.rate.up_mbps):
        return (Said("tests-old", {"tested_unix_s": view.rate.tested_unix_s}),)
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
    if not view.features.rate_known:
        return (Said("last-test", {"tested_unix_s": view.rate.tested_unix_s}),)
    rate, deficit_db = view.rate, view.signal.deficit_db
    tests = known(
        down_mbps=rate.down_mbps, up_mbps=rate.up_mbps, rtt_ms=rate.rtt_ms, loss_percent=rate.loss_percent
    )
    fine = (
        Said("signal-fine", {"deficit_db": deficit_db}) if isfinite(deficit_db) else Said("signal-not-known")
    )
    share = (Said("rate-share", {"rate_share": rate.ratio}),) if isfinite(rate.ratio) else ()
    return (Said("tests", tests), *share, fine)
