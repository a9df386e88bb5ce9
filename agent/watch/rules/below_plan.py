"""Decides when the level after set-up is too far below the plan, and what that looks like."""

from collections.abc import Iterator, Mapping
from math import isfinite

from agent.watch.feature_stage import View
from agent.watch.reference import PLAN_AGREES_DB
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
from agent.watch.uplink import mispoint_loss_db
from agent.wording import Said

AGREES_DB = 1.0  # the errors of both figures of the modem and of the plan's ratio of beamwidths
SIDE_LOBE_DB = 13.0  # no first side lobe of a dish is higher than that of a uniformly lit aperture, 17.6 dB (circular) or 13.3 dB (square)
CROSSED_DB = 9.0  # a feed that is turned by 70 degrees and more (20 log10 cos)
LOW_DEG = 15.0  # below this, trees and buildings stand in the path (common practice)


def _looks_like(view: View) -> Iterator[Said]:
    below_db = view.features.below_plan_db
    uplink_below_db = view.plan.uplink.esno_clear_db - view.signal.uplink_db
    mispoint_db = mispoint_loss_db(view.plan, below_db)
    if isfinite(uplink_below_db):
        if uplink_below_db < AGREES_DB:
            yield Said("uplink-as-planned")
        elif abs(uplink_below_db - mispoint_db) <= AGREES_DB and mispoint_db - below_db > 0.5 * AGREES_DB:
            yield Said("uplink-as-turned", {"uplink_below_db": uplink_below_db})
        else:
            yield Said("uplink-below-too", {"uplink_below_db": uplink_below_db})
    if below_db >= SIDE_LOBE_DB:
        yield Said("perhaps-side-lobe")
    elif below_db >= CROSSED_DB:
        yield Said("perhaps-crossed")
    if view.plan.pointing.elevation_deg < LOW_DEG:
        yield Said("perhaps-obstacle", {"elevation_deg": view.plan.pointing.elevation_deg})


def _evidence(view: View) -> tuple[Said, ...]:
    below = Said("level-below-plan", {"below_db": view.features.below_plan_db})
    return (below, *_looks_like(view))


def _action(view: View) -> Said:
    sound = any(said.code == "uplink-as-planned" for said in _looks_like(view))
    return Said("check-receive-side" if sound else "check-set-up")


def _figures(view: View) -> Mapping[str, float]:
    return {"below_plan_db": view.features.below_plan_db, "uplink_db": view.signal.uplink_db}


BELOW_PLAN = Rule(
    name="below-plan",
    label="Below the plan",
    parameters=(
        Parameter("below-plan.raise_db", PLAN_AGREES_DB, "dB", 0.2, 20.0, "plan and modem each err by about a dB"),
        Parameter("below-plan.clear_db", 1.2, "dB", 0.0, 20.0, "closer than what raised it by more than the noise"),
        *timing("below-plan", 60.0, 60.0, 86_400.0, "a level that is just being taken settles within a minute"),
    ),
    clauses=(Clause("advise", (at_least("below_plan_db", "below-plan.raise_db"),)),),
    clearing=((at_most("below_plan_db", "below-plan.clear_db"),), (at_least("level_accepted", 0.5),)),
    doubt=(),
    inhibitions={"peaking": "the dish is being moved", "rain_hides": "rain takes what the plan has in clear sky"},
    cause=lambda view: "none",
    headline=lambda view: Said("below-plan-headline", {"below_db": view.features.below_plan_db}),
    action=_action,
    confidence=no_confidence,
    evidence=_evidence,
    figures=_figures,
    deadline_unix_s=no_deadline,
    ending=over,
    deeds=("accept-level", "peak-start", "peak-done"),
    scoring=NotScored("labels are of what happens during the day, this is how it began"),
)  # fmt: skip
