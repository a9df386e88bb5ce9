"""Decides when the rate is lost beyond the satellite: the link is fine, a queue has grown."""

from agent.watch.feature_stage import View
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    Parameter,
    Rule,
    Scored,
    at_least,
    at_most,
    no_deadline,
    timing,
)
from agent.watch.rules.told import finite, rate_evidence, rate_figures, tests_over
from agent.wording import Said


def _evidence(view: View) -> tuple[Said, ...]:
    confidence = Said("network-confidence", {"confidence_share": view.rate.network_confidence})
    return (*rate_evidence(view), confidence)


CALL_NETWORK = Rule(
    name="call-network",
    label="Call the network",
    parameters=(
        Parameter("call-network.ratio", 0.75, "1", 0.0, 1.0, "a quarter of the rate is missing"),
        Parameter("call-network.confidence", 0.6, "1", 0.0, 1.0, "a call costs little"),
        Parameter("call-network.rtt_ratio", 1.8, "1", 1.0, 20.0, "a queue as long as the path itself, rates measured or not"),
        Parameter("call-network.rtt_clear", 1.25, "1", 1.0, 20.0, "the queue is gone"),
        *timing("call-network", 0.0, 60.0, 600.0, "two tests agree before the ratio falls"),
    ),
    clauses=(
        Clause("advise", (at_least("rtt_ratio", "call-network.rtt_ratio"),)),
        Clause("act", (
            at_most("throughput_ratio", "call-network.ratio"),
            at_least("network_confidence", "call-network.confidence"),
        )),
    ),
    clearing=(
        (at_most("rtt_ratio", "call-network.rtt_clear"),),
        (at_most("rate_known", FLAG),),
    ),
    doubt=(
        at_most("network_confidence", "call-network.confidence"),
        at_most("rtt_ratio", "call-network.rtt_ratio"),
    ),
    inhibitions={
        "signal_down": "the signal explains the rate",
        "peaking": "tests during peaking say nothing",
        "settling": "the link is just coming up",
    },
    cause=lambda view: "network",
    headline=lambda view: Said("network-slow"),
    action=lambda view: Said("call-network"),
    confidence=lambda view: finite(view.rate.network_confidence),
    evidence=_evidence,
    figures=rate_figures,
    deadline_unix_s=no_deadline,
    ending=tests_over,
    deeds=(),
    scoring=Scored("network", early_s=60.0, late_s=1800.0),
)  # fmt: skip
