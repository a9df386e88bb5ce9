"""Decides when a correction of the agent's own clock is worth a word."""

from collections.abc import Mapping

from agent.watch.feature_stage import View
from agent.watch.rules.rule import (
    Clause,
    NotScored,
    Parameter,
    Rule,
    at_least,
    at_most,
    no_confidence,
    no_deadline,
    over,
    timing,
)
from agent.wording import Said


def _figures(view: View) -> Mapping[str, float]:
    return {"stepped_s": view.clock_stepped_s, "stepped_ago_s": view.features.clock_stepped_ago_s}


def _evidence(view: View) -> tuple[Said, ...]:
    stepped_s = view.clock_stepped_s
    way = "clock-set-forward" if stepped_s > 0.0 else "clock-set-back"
    return (Said(way, {"by_s": abs(stepped_s)}), Said("own-time"))


CLOCK_STEPPED = Rule(
    name="clock-stepped",
    label="Clock was set",
    parameters=(
        Parameter("clock-stepped.within_s", 600.0, "s", 60.0, 7200.0, "long enough for somebody to look at the page"),
        *timing("clock-stepped", 0.0, 0.0, 0.0, "the correction is a fact"),
    ),
    clauses=(Clause("advise", (at_most("clock_stepped_ago_s", "clock-stepped.within_s"),)),),
    clearing=((at_least("clock_stepped_ago_s", "clock-stepped.within_s"),),),
    doubt=(),
    inhibitions={},
    cause=lambda view: "none",
    headline=lambda view: Said("clock-stepped"),
    action=lambda view: Said("keep-clock"),
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=over,
    deeds=(),
    scoring=NotScored("a correction of the clock is a fact of the recording and needs no label"),
)  # fmt: skip
