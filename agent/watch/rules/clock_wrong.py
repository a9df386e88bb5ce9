"""Decides when a device that publishes with a wrong clock is worth a word."""

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
    return {"refused_ago_s": view.features.clock_refused_ago_s}


CLOCK_WRONG = Rule(
    name="clock-wrong",
    label="Clock is wrong",
    parameters=(
        Parameter("clock-wrong.within_s", 120.0, "s", 1.0, 7200.0, "a corrected clock is forgiven after two minutes"),
        *timing("clock-wrong", 0.0, 0.0, 600.0, "the receipt time already proved it"),
    ),
    clauses=(Clause("advise", (at_most("clock_refused_ago_s", "clock-wrong.within_s"),)),),
    clearing=((at_least("clock_refused_ago_s", "clock-wrong.within_s"),),),
    doubt=(),
    inhibitions={},
    cause=lambda view: "none",
    headline=lambda view: Said("clock-wrong"),
    action=lambda view: Said("set-clock"),
    confidence=no_confidence,
    evidence=lambda view: (Said("receipt-time"),),
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=over,
    deeds=(),
    scoring=NotScored("a refused clock is a fact of the recording and needs no label"),
)  # fmt: skip
