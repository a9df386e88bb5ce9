"""Decides when to say that mains or generator are gone, and when the battery runs out."""

from collections.abc import Mapping
from math import isfinite

from agent.watch.feature_stage import View
from agent.watch.rules.rule import (
    FLAG,
    Clause,
    Parameter,
    Rule,
    Scored,
    at_least,
    at_most,
    no_confidence,
    over,
    timing,
)
from agent.watch.rules.told import known
from agent.wording import Said


def _evidence(view: View) -> tuple[Said, ...]:
    percent = view.features.battery_percent
    charge = (Said("battery-charge", {"battery_percent": percent}),) if isfinite(percent) else ()
    return (Said("on-battery", known(left_s=view.features.runtime_s)), *charge)


def _figures(view: View) -> Mapping[str, float]:
    return {"runtime_s": view.features.runtime_s, "battery_percent": view.features.battery_percent}


def _deadline_unix_s(view: View) -> float | None:
    runtime_s = view.features.runtime_s
    return view.unix_s + runtime_s if isfinite(runtime_s) else None


ON_BATTERY = Rule(
    name="on-battery",
    label="On battery",
    parameters=(
        Parameter("on-battery.urgent_s", 900.0, "s", 0.0, 36_000.0, "time to end a stream in an orderly way"),
        Parameter("on-battery.urgent_percent", 20.0, "%", 0.0, 100.0, "small batteries sag below a fifth"),
        *timing("on-battery", 30.0, 30.0, 60.0, "a change-over switch takes seconds"),
    ),
    clauses=(
        Clause("act", (at_least("on_battery", FLAG),)),
        Clause("urgent", (at_least("on_battery", FLAG), at_most("runtime_s", "on-battery.urgent_s"))),
        Clause("urgent", (
            at_least("on_battery", FLAG),
            at_most("battery_percent", "on-battery.urgent_percent"),
        )),
    ),
    clearing=((at_most("on_battery", FLAG),),),
    doubt=(),
    inhibitions={},
    cause=lambda view: "power",
    headline=lambda view: Said("battery-headline"),
    action=lambda view: Said("see-to-power"),
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=_deadline_unix_s,
    ending=over,
    deeds=(),
    scoring=Scored("power", early_s=60.0, late_s=300.0),
)  # fmt: skip
