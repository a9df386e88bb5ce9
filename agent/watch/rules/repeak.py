"""Decides when the dish points off and wants a re-peak: not in rain or a sun pass, nor while at it."""

from collections.abc import Mapping

from agent.plan.antenna import pointing_error_deg
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
from agent.watch.rules.told import aged, dish_over, for_and_against, how_likely, not_heard, signal_figures
from agent.watch.uplink import carrier_loss_db
from agent.wording import Said


def _error_deg(view: View) -> float:
    down = view.plan.downlink
    return float(pointing_error_deg(carrier_loss_db(down, view.signal.unexplained_db), down.beamwidth_deg))


def _evidence(view: View) -> tuple[Said, ...]:
    if unknown := not_heard(view):
        return unknown
    figures: dict[str, float | str] = {"loss_db": view.signal.unexplained_db}
    error_deg = _error_deg(view)
    if error_deg < view.plan.downlink.beamwidth_deg:
        figures["error_deg"] = error_deg
    return (Said("below-as-turned", figures), *aged(view), *for_and_against(view, "mispoint"))


def _figures(view: View) -> Mapping[str, float]:
    return {**signal_figures(view), "pointing_error_deg": _error_deg(view)}


REPEAK = Rule(
    name="repeak",
    label="Re-peak the dish",
    parameters=(
        Parameter("repeak.raise_db", 0.7, "dB", 0.2, 10.0, "above drift and scintillation; as a quarter of the beamwidth costs"),
        Parameter("repeak.clear_db", 0.5, "dB", 0.0, 10.0, "what a good re-peak leaves at most"),
        Parameter("repeak.confidence", 0.85, "1", 0.0, 1.0, "throughout; less sure, look-at-dish asks the crew to look first"),
        Parameter("repeak.urgent_db", 4.0, "dB", 0.5, 20.0, "most rental carriers lose lock or two MODCOD classes here"),
        *timing("repeak", 180.0, 60.0, 600.0, "people and trucks are mostly gone in two minutes, the first edge of a shower in three"),
    ),
    clauses=(
        Clause("act", (
            at_least("certain_db", "repeak.raise_db"),
            at_least("mispoint_confidence", "repeak.confidence"),
        )),
        Clause("urgent", (
            at_least("certain_db", "repeak.urgent_db"),
            at_least("mispoint_confidence", "repeak.confidence"),
        )),
    ),
    clearing=(
        (at_most("certain_db", "repeak.clear_db"),),
        # Put off: nobody peaks through rain or a sun pass. What it leaves behind is raised anew.
        (at_least("rain_hides", FLAG),),
        (at_least("sun_pass_now", FLAG),),
    ),
    doubt=(
        at_most("mispoint_confidence", "repeak.confidence"),
        at_most("peaking", FLAG),
        at_most("unlocked", FLAG),
    ),
    inhibitions={
        "peaking": "the crew is at it",
        "rain_hides": "moving the dish in a rain fade loses the satellite for nothing",
        "sun_pass_now": "the loss is the sun's and ends by itself",
        "settling": "the link is just coming up",
        "unlocked": "without lock there is nothing to judge by: the link speaks",
    },
    cause=lambda view: "mispoint",
    headline=lambda view: Said("mispoint"),
    action=lambda view: Said("repeak"),
    confidence=lambda view: how_likely(view, "mispoint"),
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=dish_over,
    deeds=("peak-start", "peak-done"),
    scoring=Scored("mispoint", early_s=60.0, late_s=600.0),
)  # fmt: skip
