"""Decides when a low rate is worth a word although nothing explains it."""

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
from agent.watch.rules.told import rate_evidence, rate_figures, tests_over
from agent.wording import Said

THROUGHPUT_LOW = Rule(
    name="throughput-low",
    label="Throughput low",
    parameters=(
        Parameter("throughput-low.ratio", 0.6, "1", 0.0, 1.0, "with no cause found, only a clear shortfall is reported"),
        Parameter("throughput-low.clear_ratio", 0.8, "1", 0.0, 1.0, "most of the rate is back"),
        *timing("throughput-low", 300.0, 60.0, 900.0, "waits for a rule that knows the cause"),
    ),
    clauses=(Clause("advise", (at_most("throughput_ratio", "throughput-low.ratio"),)),),
    clearing=(
        (at_least("throughput_ratio", "throughput-low.clear_ratio"),),
        (at_most("rate_known", FLAG),),
    ),
    doubt=(),
    inhibitions={
        "signal_down": "the signal explains the rate",
        "peaking": "tests during peaking say nothing",
        "rate_cause_known": "the rule that names the cause speaks",
    },
    cause=lambda view: "none",
    headline=lambda view: Said("rate-low"),
    action=lambda view: Said("repeat-test"),
    confidence=no_confidence,
    evidence=lambda view: (*rate_evidence(view), Said("no-rate-cause")),
    figures=rate_figures,
    deadline_unix_s=no_deadline,
    ending=tests_over,
    deeds=(),
    scoring=NotScored("a label names a cause, and this rule speaks where none was found"),
)  # fmt: skip
