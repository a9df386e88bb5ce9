"""When each rule raises, how gravely, when it clears, and what keeps it silent: data, not code.

A clause is (rule, severity, terms); its rule raises when all terms hold. A term compares a feature with a
parameter of `agent.watch.rules` or with a plain flag level. An unknown feature (NaN) holds nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from agent.records import Severity

FLAG = 0.5  # features that are flags are 0 or 1


@dataclass(frozen=True, slots=True)
class Term:
    """`feature` on that side of `threshold`: the name of a parameter, or a number where nothing is to tune."""

    feature: str
    side: Literal[">=", "<="]
    threshold: str | float


@dataclass(frozen=True, slots=True)
class Clause:
    rule: str
    severity: Severity
    terms: tuple[Term, ...]


def _at_least(feature: str, threshold: str | float) -> Term:
    return Term(feature, ">=", threshold)


def _at_most(feature: str, threshold: str | float) -> Term:
    return Term(feature, "<=", threshold)


RAISE: tuple[Clause, ...] = (
    Clause("shade", "advise", (
        _at_least("exposure_s", "shade.advise_after_s"),
        _at_most("limit_margin_degc", "shade.exposure_margin_degc"),
    )),
    Clause("shade", "advise", (_at_least("blind_exposure_s", "shade.advise_after_s"),)),
    Clause("shade", "act", (
        _at_least("exposure_s", "shade.act_after_s"),
        _at_most("limit_margin_degc", "shade.exposure_margin_degc"),
    )),
    Clause("shade", "act", (_at_least("blind_exposure_s", "shade.act_after_s"),)),
    Clause("shade", "act", (_at_most("to_limit_s", "shade.lead_s"),)),
    Clause("shade", "urgent", (_at_most("limit_margin_degc", "shade.limit_margin_degc"),)),
    Clause("shade", "urgent", (_at_least("heat_loss_db", "shade.loss_db"),)),
    Clause("repeak", "act", (
        _at_least("certain_db", "repeak.raise_db"),
        _at_least("mispoint_confidence", "repeak.confidence"),
    )),
    Clause("repeak", "urgent", (
        _at_least("certain_db", "repeak.urgent_db"),
        _at_least("mispoint_confidence", "repeak.confidence"),
    )),
    Clause("wait-sun-pass", "advise", (
        _at_most("sun_pass_in_s", "wait-sun-pass.announce_s"),
        _at_least("sun_pass_depth_db", "wait-sun-pass.depth_db"),
    )),
    Clause("wait-rain", "advise", (
        _at_least("deficit_db", "wait-rain.raise_db"),
        _at_least("rain_confidence", "wait-rain.confidence"),
    )),
    Clause("wait-rain", "advise", (
        _at_least("deficit_db", "wait-rain.measured_db"),
        _at_least("rain_hides", FLAG),
    )),
    Clause("blockage", "act", (
        _at_least("certain_db", "blockage.raise_db"),
        _at_least("blockage_confidence", "blockage.confidence"),
    )),
    Clause("blockage", "advise", (
        _at_least("dips", "blockage.dips"),
        _at_most("deficit_db", "blockage.clear_db"),
    )),
    Clause("lower-stream", "act", (
        _at_most("headroom_mbps", "lower-stream.headroom_mbps"),
        _at_least("streaming", FLAG),
    )),
    Clause("look-at-lan", "act", (
        _at_most("throughput_ratio", "look-at-lan.ratio"),
        _at_least("lan_confidence", "look-at-lan.confidence"),
    )),
    Clause("look-at-lan", "advise", (_at_least("lan_confidence", "look-at-lan.sure"),)),
    Clause("call-network", "advise", (_at_least("rtt_ratio", "call-network.rtt_ratio"),)),
    Clause("call-network", "act", (
        _at_most("throughput_ratio", "call-network.ratio"),
        _at_least("network_confidence", "call-network.confidence"),
    )),
    Clause("throughput-low", "advise", (_at_most("throughput_ratio", "throughput-low.ratio"),)),
    Clause("on-battery", "act", (_at_least("on_battery", FLAG),)),
    Clause("on-battery", "urgent", (
        _at_least("on_battery", FLAG),
        _at_most("runtime_s", "on-battery.urgent_s"),
    )),
    Clause("on-battery", "urgent", (
        _at_least("on_battery", FLAG),
        _at_most("battery_percent", "on-battery.urgent_percent"),
    )),
    Clause("no-data", "act", (
        _at_least("signal_silence", "no-data.intervals"),
        _at_least("signal_age_s", "no-data.least_s"),
    )),
    Clause("no-data", "advise", (
        _at_least("other_silence", "no-data.intervals"),
        _at_least("other_age_s", "no-data.least_s"),
    )),
    Clause("clock-wrong", "advise", (_at_most("clock_refused_ago_s", "clock-wrong.within_s"),)),
)  # fmt: skip

# A standing alert clears when all terms of one of its rule's clauses hold.
CLEAR: Mapping[str, tuple[tuple[Term, ...], ...]] = {
    "shade": (
        (
            _at_least("limit_margin_degc", "shade.clear_margin_degc"),
            _at_least("to_limit_s", "shade.lead_s"),
            _at_most("exposed_now", FLAG),
        ),
        (
            _at_least("limit_margin_degc", "shade.exposure_margin_degc"),
            _at_least("to_limit_s", "shade.lead_s"),
            _at_most("blind_exposure_s", "shade.advise_after_s"),
        ),
    ),
    "repeak": (
        (_at_most("certain_db", "repeak.clear_db"),),
        # Put off: nobody peaks through rain or a sun pass. What it leaves behind is raised anew.
        (_at_least("rain_hides", FLAG),),
        (_at_least("sun_pass_now", FLAG),),
    ),
    "wait-sun-pass": ((_at_least("sun_pass_in_s", "wait-sun-pass.announce_s"),),),
    "wait-rain": ((_at_most("deficit_db", "wait-rain.clear_db"),), (_at_least("mispoint_confidence", "repeak.confidence"),)),
    "blockage": ((_at_most("certain_db", "blockage.clear_db"), _at_most("dips", 1.5)),),
    "lower-stream": ((_at_least("headroom_mbps", "lower-stream.clear_mbps"),), (_at_most("streaming", FLAG),)),
    "look-at-lan": (
        (_at_least("throughput_ratio", "look-at-lan.ratio"), _at_most("lan_confidence", "look-at-lan.sure")),
        (_at_most("lan_confidence", "look-at-lan.confidence"),),
    ),
    "call-network": (
        (_at_most("rtt_ratio", "call-network.rtt_clear"),),
        (
            _at_least("throughput_ratio", "call-network.ratio"),
            _at_most("network_confidence", "call-network.confidence"),
            _at_most("rtt_ratio", "call-network.rtt_ratio"),
        ),
    ),
    "throughput-low": ((_at_least("throughput_ratio", "throughput-low.clear_ratio"),),),
    "on-battery": ((_at_most("on_battery", FLAG),),),
    "no-data": (
        (_at_most("signal_silence", 2.0), _at_most("other_silence", 2.0)),
    ),
    "clock-wrong": ((_at_least("clock_refused_ago_s", "clock-wrong.within_s"),),),
}  # fmt: skip

# While a flag stands, its rules are not raised; a standing alert stays as it is.
INHIBITIONS: Mapping[str, tuple[tuple[str, str], ...]] = {
    "repeak": (
        ("peaking", "the crew is at it"),
        ("rain_hides", "moving the dish in a rain fade loses the satellite for nothing"),
        ("sun_pass_now", "the loss is the sun's and ends by itself"),
        ("settling", "the link is just coming up"),
    ),
    "blockage": (
        ("peaking", "the dish is being moved"),
        ("settling", "the link is just coming up"),
        ("rain_hides", "a storm takes lock by itself"),
    ),
    "wait-rain": (("peaking", "the dish is being moved"), ("sun_pass_now", "the sun's loss looks alike")),
    "lower-stream": (("peaking", "tests during peaking say nothing"),),
    "look-at-lan": (
        ("signal_down", "the signal explains the rate"),
        ("peaking", "tests during peaking say nothing"),
        ("settling", "the link is just coming up"),
    ),
    "call-network": (
        ("signal_down", "the signal explains the rate"),
        ("peaking", "tests during peaking say nothing"),
        ("settling", "the link is just coming up"),
    ),
    "throughput-low": (
        ("signal_down", "the signal explains the rate"),
        ("peaking", "tests during peaking say nothing"),
        ("rate_cause_known", "the rule that names the cause speaks"),
    ),
}
