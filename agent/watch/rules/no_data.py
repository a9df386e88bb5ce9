"""Decides when an input has been silent for so long that it is not chance."""

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

HEARD_SPACINGS = 2.0  # usual spacings since the last word: it is back


def _silent_s(view: View) -> float:
    found = view.features
    return found.signal_age_s if found.signal_silence >= found.other_silence else found.other_age_s


def _evidence(view: View) -> tuple[Said, ...]:
    missing = max(view.features.signal_silence, view.features.other_silence)
    return (
        Said("silent", {"input": view.silent, "silent_s": _silent_s(view)}),
        Said("readings-missing", {"count": missing}),
    )


def _figures(view: View) -> Mapping[str, float]:
    return {"silent_s": _silent_s(view)}


NO_DATA = Rule(
    name="no-data",
    label="No data",
    parameters=(
        Parameter("no-data.intervals", 6.0, "1", 1.0, 100.0, "five lost in a row is not chance"),
        Parameter("no-data.least_s", 240.0, "s", 1.0, 7200.0, "a modem that restarts needs one to two minutes to be online again (common practice), some longer"),
        *timing("no-data", 0.0, 0.0, 120.0, "the silence itself is the hold"),
    ),
    clauses=(
        Clause("act", (
            at_least("signal_silence", "no-data.intervals"),
            at_least("signal_age_s", "no-data.least_s"),
        )),
        Clause("advise", (
            at_least("other_silence", "no-data.intervals"),
            at_least("other_age_s", "no-data.least_s"),
        )),
    ),
    clearing=((at_most("signal_silence", HEARD_SPACINGS), at_most("other_silence", HEARD_SPACINGS)),),
    doubt=(),
    inhibitions={},
    cause=lambda view: "none",
    headline=lambda view: Said("input-silent", {"input": view.silent}),
    action=lambda view: Said("see-to-input", {"input": view.silent}),
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=over,
    deeds=(),
    scoring=NotScored("silence is a fact of the recording and needs no label"),
)  # fmt: skip
