"""Decides when the weakest recent tests no longer carry the stream that runs."""

from collections.abc import Mapping
from math import isnan

from agent.records import Cause
from agent.throughput import STREAM_ALLOWANCE
from agent.watch.feature_stage import View
from agent.watch.rate import LIKELY
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    NotScored,
    Parameter,
    Rule,
    at_least,
    at_most,
    no_confidence,
    no_deadline,
    timing,
)
from agent.watch.rules.told import rate_figures, tests_over
from agent.wording import Said

LEAST_STREAM_MBPS = 0.1  # no encoder makes a picture of less


def _bearable_mbps(view: View) -> float:
    return max(LEAST_STREAM_MBPS, view.rate.carried_mbps / STREAM_ALLOWANCE)


def _likeliest(view: View) -> Cause:
    said = view.signal.confidence
    sure: list[tuple[float, Cause]] = [
        (said.get(cause, 0.0), cause) for cause in ("mispoint", "rain", "blockage")
    ]
    sure += [(view.rate.lan_confidence, "lan"), (view.rate.network_confidence, "network")]
    likely = [(value, cause) for value, cause in sure if value >= LIKELY]
    return max(likely)[1] if likely else "none"


def _action(view: View) -> Said:
    if isnan(view.rate.carried_mbps):
        return Said("repeat-test")
    return Said("lower-stream", {"to_mbps": _bearable_mbps(view)})


def _evidence(view: View) -> tuple[Said, ...]:
    if isnan(view.rate.carried_mbps):
        return (Said("last-test", {"tested_unix_s": view.rate.tested_unix_s}),)
    return (
        Said("carried", {"carried_mbps": view.rate.carried_mbps}),
        Said("stream-needs", {"stream_mbps": view.rate.stream_mbps}),
    )


def _figures(view: View) -> Mapping[str, float]:
    return {**rate_figures(view), "stream_to_mbps": _bearable_mbps(view)}


LOWER_STREAM = Rule(
    name="lower-stream",
    label="Lower the stream",
    parameters=(
        Parameter("lower-stream.headroom_mbps", 0.0, "Mbit/s", -10.0, 100.0, "the weakest tests no longer carry the stream"),
        Parameter("lower-stream.clear_mbps", 0.1, "Mbit/s", -10.0, 100.0, "a little room again"),
        *timing("lower-stream", 60.0, 300.0, 600.0, "the encoder's own buffer bridges less than a minute"),
    ),
    clauses=(
        Clause("act", (
            at_most("headroom_mbps", "lower-stream.headroom_mbps"),
            at_least("streaming", FLAG),
        )),
    ),
    clearing=(
        (at_least("headroom_mbps", "lower-stream.clear_mbps"),),
        (at_most("streaming", FLAG),),
        (at_most("uplink_tested", FLAG),),
    ),
    doubt=(),
    inhibitions={"peaking": "tests during peaking say nothing"},
    cause=_likeliest,
    headline=lambda view: Said("stream-not-carried"),
    action=_action,
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=tests_over,
    deeds=("stream-stop",),
    scoring=NotScored("a label has one cause, and what leaves too little room for a stream has many"),
)  # fmt: skip
