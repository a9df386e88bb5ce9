"""Decides when a loss is rain's: nobody touches the dish, it comes back with the sky."""

from math import isfinite

from agent.watch.causes.calibration import stated
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
from agent.watch.rules.told import (
    aged,
    cause_over,
    for_and_against,
    how_likely,
    loss_said,
    not_heard,
    signal_figures,
)
from agent.wording import Said

RAIN_SEEN_SURE = 0.9  # of the measured fades of 0.7 dB had rain at the gauge within ten minutes


def _evidence(view: View) -> tuple[Said, ...]:
    if unknown := not_heard(view):
        return unknown
    seen = view.signal.rain_hides and not view.signal.confidence
    below = Said("below-rain-seen" if seen else "below", {"deficit_db": view.signal.deficit_db})
    return (below, *aged(view), *for_and_against(view, "rain"))


def _headline(view: View) -> Said:
    loss_db = view.signal.deficit_db
    return loss_said(view, "rain", loss_db) if isfinite(loss_db) else Said("rain")


def _confidence(view: View) -> float | None:
    likely = view.signal.confidence.get("rain")
    if view.signal.rain_hides:
        return stated("rain", max(RAIN_SEEN_SURE, likely or 0.0))
    return how_likely(view, "rain")


WAIT_RAIN = Rule(
    name="wait-rain",
    label="Wait: rain",
    parameters=(
        Parameter("wait-rain.raise_db", 1.3, "dB", 0.1, 10.0, "clouds and scintillation reach a decibel at Ka band"),
        Parameter("wait-rain.measured_db", 0.5, "dB", 0.1, 10.0, "with rain seen or measured a smaller loss is explained"),
        Parameter("wait-rain.confidence", 0.6, "1", 0.0, 1.0, "waiting does no harm, so likely is enough"),
        Parameter("wait-rain.clear_confidence", 0.4, "1", 0.0, 1.0, "less likely than not: another cause may want something done"),
        Parameter("wait-rain.clear_db", 0.4, "dB", 0.0, 10.0, "half of what raised it"),
        *timing("wait-rain", 150.0, 300.0, 600.0, "cells of a shower come minutes apart; leaves and people are gone sooner"),
    ),
    clauses=(
        Clause("advise", (
            at_least("deficit_db", "wait-rain.raise_db"),
            at_least("rain_confidence", "wait-rain.confidence"),
        )),
        Clause("advise", (
            at_least("deficit_db", "wait-rain.measured_db"),
            at_least("rain_hides", FLAG),
        )),
    ),
    clearing=(
        (at_most("deficit_db", "wait-rain.clear_db"),),
        (at_least("mispoint_confidence", "repeak.confidence"),),
    ),
    doubt=(at_most("rain_confidence", "wait-rain.clear_confidence"), at_most("rain_hides", FLAG)),
    inhibitions={
        "peaking": "the dish is being moved",
        "sun_pass_now": "the sun's loss looks alike",
        "unlocked": "without lock there is nothing to judge by: the link speaks",
    },
    cause=lambda view: "rain",
    headline=_headline,
    action=lambda view: Said("wait-rain"),
    confidence=_confidence,
    evidence=_evidence,
    figures=signal_figures,
    deadline_unix_s=no_deadline,
    ending=cause_over,
    deeds=(),
    scoring=Scored("rain", early_s=300.0, late_s=900.0),
)  # fmt: skip
