"""Decides when somebody should look at dish and sky: something is missing, and nothing tells yet what takes it."""

from dataclasses import replace

from agent.watch.feature_stage import View
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    NotScored,
    Parameter,
    Rule,
    at_least,
    at_most,
    no_deadline,
    timing,
)
from agent.watch.rules.told import LIKELIER, dish_over, for_and_against, how_likely, signal_figures
from agent.wording import Said

NAMED = 3  # causes; nobody looks for more
WORTH_NAMING = 0.05  # nobody looks for what is so at one time in twenty only


def _evidence(view: View) -> tuple[Said, ...]:
    verdict = view.signal.verdict
    if verdict is None:
        return ()
    likeliest = [cause for cause, share in verdict.ranked()[:NAMED] if share >= WORTH_NAMING]
    return (
        Said("below", {"deficit_db": view.signal.deficit_db}),
        *(Said(f"may-be-{cause}") for cause in likeliest),
        Said("note-decides"),
        *for_and_against(view, "mispoint"),
    )


def _ending(view: View, lasted_s: float) -> tuple[Said, ...]:
    """Where the dish has become likelier than all else, the outright rule has taken over."""
    over, *missing = dish_over(view, lasted_s)
    likely = view.signal.confidence.get("mispoint", 0.0) >= LIKELIER
    return (replace(over, code="dish-after-all") if likely and over.code == "not-sure" else over, *missing)


LOOK_AT_DISH = Rule(
    name="look-at-dish",
    label="Look at the dish",
    parameters=(
        Parameter("look-at-dish.raise_db", 0.5, "dB", 0.2, 10.0, "a look costs less than a re-peak, and may come a little sooner"),
        Parameter("look-at-dish.clear_db", 0.4, "dB", 0.0, 10.0, "what a good re-peak leaves at most"),
        Parameter("look-at-dish.confidence", 0.2, "1", 0.0, 1.0, "a look is worth it where one in five finds the dish turned"),
        Parameter("look-at-dish.blind_db", 0.65, "dB", 0.2, 10.0, "where nothing tells of the sky, showers too light to show take half a decibel"),
        Parameter("look-at-dish.blind_confidence", 0.5, "1", 0.0, 1.0, "there more has to speak for the dish"),
        Parameter("look-at-dish.blind_after_s", 660.0, "s", 0.0, 7200.0, "most showers have shown within eleven minutes what they are"),
        Parameter("look-at-dish.clear_confidence", 0.1, "1", 0.0, 1.0, "less likely than this, nobody need look"),
        *timing("look-at-dish", 360.0, 60.0, 900.0, "people and trucks are mostly gone, and the first edge of a shower"),
    ),
    clauses=(
        Clause("advise", (
            at_least("certain_db", "look-at-dish.raise_db"),
            at_least("mispoint_confidence", "look-at-dish.confidence"),
            at_least("told_elsewhere", FLAG),
        )),
        Clause("advise", (
            at_least("certain_db", "look-at-dish.blind_db"),
            at_least("mispoint_confidence", "look-at-dish.blind_confidence"),
            at_least("loss_age_s", "look-at-dish.blind_after_s"),
        )),
    ),
    clearing=(
        (at_most("certain_db", "look-at-dish.clear_db"),),
        (at_least("rain_hides", FLAG),),
        (at_least("sun_pass_now", FLAG),),
        (at_least("peaking", FLAG),),
    ),
    doubt=(at_most("mispoint_confidence", "look-at-dish.clear_confidence"),),
    inhibitions={
        "peaking": "the crew is at it",
        "rain_hides": "it rains, and that takes as much",
        "sun_pass_now": "the loss is the sun's and ends by itself",
        "settling": "the link is just coming up",
    },
    cause=lambda view: "mispoint",
    headline=lambda view: Said("look-at-dish"),
    action=lambda view: Said("look-first"),
    evidence=_evidence,
    figures=signal_figures,
    deadline_unix_s=no_deadline,
    ending=_ending,
    confidence=lambda view: how_likely(view, "mispoint"),
    deeds=("peak-start", "peak-done", "rain", "moved"),
    scoring=NotScored("labels of a turned dish score repeak; either rule is counted by tests.bench.detection"),
)  # fmt: skip
