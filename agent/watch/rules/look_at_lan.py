"""Decides when losses or jitter come from the local network, not from the link."""

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
    return (*rate_evidence(view), Said("lan-confidence", {"confidence_share": view.rate.lan_confidence}))


LOOK_AT_LAN = Rule(
    name="look-at-lan",
    label="Look at the LAN",
    parameters=(
        Parameter("look-at-lan.ratio", 0.75, "1", 0.0, 1.0, "a quarter of the rate is missing"),
        Parameter("look-at-lan.confidence", 0.6, "1", 0.0, 1.0, "looking does no harm"),
        Parameter("look-at-lan.sure", 0.85, "1", 0.0, 1.0, "losses and jitter both up need no rate to be believed"),
        *timing("look-at-lan", 0.0, 60.0, 600.0, "two tests agree before the ratio falls"),
    ),
    clauses=(
        Clause("act", (
            at_most("throughput_ratio", "look-at-lan.ratio"),
            at_least("lan_confidence", "look-at-lan.confidence"),
        )),
        Clause("advise", (at_least("lan_confidence", "look-at-lan.sure"),)),
    ),
    clearing=(
        (at_least("throughput_ratio", "look-at-lan.ratio"), at_most("lan_confidence", "look-at-lan.sure")),
        (at_most("rate_known", FLAG),),
    ),
    doubt=(at_most("lan_confidence", "look-at-lan.confidence"),),
    inhibitions={
        "signal_down": "the signal explains the rate",
        "peaking": "tests during peaking say nothing",
        "settling": "the link is just coming up",
    },
    cause=lambda view: "lan",
    headline=lambda view: Said("lan-loses"),
    action=lambda view: Said("look-at-lan"),
    confidence=lambda view: finite(view.rate.lan_confidence),
    evidence=_evidence,
    figures=rate_figures,
    deadline_unix_s=no_deadline,
    ending=tests_over,
    deeds=(),
    scoring=Scored("lan", early_s=60.0, late_s=1800.0),
)  # fmt: skip
