"""Decides when nothing at all gets through while the stream runs."""

from agent.records import Cause
from agent.watch.feature_stage import View
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    NotScored,
    Rule,
    at_least,
    at_most,
    no_confidence,
    no_deadline,
    over,
    timing,
)
from agent.watch.rules.told import rate_figures
from agent.wording import Said

FAR_DOWN_DB = 2.0  # with so much missing it is the signal that lets nothing through (judgement)


def _action(view: View) -> Said:
    """The signal first where it explains it."""
    if view.signal.sun_pass_now:
        return Said("down-sun-pass")
    if view.signal.rain_hides:
        return Said("stream-waits-for-rain")
    missing_db = view.signal.deficit_db
    return (
        Said("signal-first", {"missing_db": missing_db})
        if missing_db >= FAR_DOWN_DB
        else Said("find-dead-hop")
    )


def _cause(view: View) -> Cause:
    if view.signal.sun_pass_now:
        return "sun-pass"
    return "rain" if view.signal.rain_hides else "none"


STREAM_DOWN = Rule(
    name="stream-down",
    label="The stream is down",
    parameters=timing("stream-down", 30.0, 60.0, 0.0, "a failed test that the next one takes back is not worth a word"),
    clauses=(Clause("urgent", (at_least("stream_dead", FLAG), at_least("streaming", FLAG))),),
    clearing=((at_most("stream_dead", FLAG),), (at_most("streaming", FLAG),)),
    doubt=(),
    inhibitions={
        "unlocked": "without lock nothing can get through: the link speaks",
        "peaking": "tests during peaking say nothing",
        "settling": "the link is just coming up",
    },
    cause=_cause,
    headline=lambda view: Said("stream-down"),
    action=_action,
    confidence=no_confidence,
    evidence=lambda view: (Said("nothing-through", {"tested_unix_s": view.rate.tested_unix_s}),),
    figures=rate_figures,
    deadline_unix_s=no_deadline,
    ending=over,
    deeds=("stream-stop",),
    scoring=NotScored("a label names a cause, and what stops a stream has many"),
)  # fmt: skip
