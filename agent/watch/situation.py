"""The engine's whole answer at one moment: a verdict, what comes next, the figures of the crew's page."""

from collections.abc import Mapping, Sequence
from math import isfinite, isnan, nan

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.antenna import pointing_error_deg
from agent.records import ActiveAlert, Situation
from agent.watch.advice import minutes, shade_falls_short, shade_works
from agent.watch.carrier import QUALITY_DB_PER_PERCENT, Carrier
from agent.watch.features import FeatureStage, View
from agent.watch.headline import headline
from agent.watch.rule_stage import SEVERITIES
from agent.watch.signal_watch import pass_in_s
from agent.watch.walk import Walk

LOOK_AHEAD_S = 7200.0
BELOW_PLAN_DB = 1.5  # plan and modem each err by about a dB


def situation(
    stage: FeatureStage, view: View, alerts: Sequence[ActiveAlert], plan: LinkPlan, job: Job
) -> Situation:
    """Compose the answer; `alerts` in any order, the gravest not acknowledged one gives the verdict."""
    ranked = sorted(
        alerts,
        key=lambda alert: (alert.acknowledged, -SEVERITIES.index(alert.event.severity), alert.since_unix_s),
    )
    next_event, next_unix_s = _next_event(view)
    last_seen = {name: heard.last_unix_s for name, heard in stage.inputs.heard.items()}
    figures = _figures(stage, view, plan, job)
    if ranked:
        top = ranked[0].event
        return Situation(
            unix_s=view.unix_s,
            level=top.severity,
            verdict=headline(top.rule, view),
            cause=top.cause,
            action=top.action,
            deadline_unix_s=top.deadline_unix_s,
            next_event=next_event,
            next_event_unix_s=next_unix_s,
            alerts=tuple(ranked),
            last_seen_unix_s=last_seen,
            figures=figures,
        )
    known = isfinite(view.signal.level_db)
    return Situation(
        unix_s=view.unix_s,
        level="fine" if known else "unknown",
        verdict=_calm_verdict(stage, view, plan),
        cause="none",
        action="",
        deadline_unix_s=None,
        next_event=next_event,
        next_event_unix_s=next_unix_s,
        alerts=(),
        last_seen_unix_s=last_seen,
        figures=figures,
    )


def unknown_situation(walk: Walk, alerts: tuple[ActiveAlert, ...]) -> Situation:
    """The answer before the first decision."""
    return Situation(
        unix_s=walk.now_unix_s,
        level="unknown",
        verdict="Waiting for the first readings",
        cause="none",
        action="",
        deadline_unix_s=None,
        next_event=None,
        next_event_unix_s=None,
        alerts=alerts,
        last_seen_unix_s={},
        figures={},
    )


def _calm_verdict(stage: FeatureStage, view: View, plan: LinkPlan) -> str:
    if isnan(view.signal.level_db):
        return "No signal reading yet" if not stage.inputs.heard else "The signal is not known"
    if view["peaking"]:
        return "Peaking under way"
    if isnan(view.signal.deficit_db):
        return "Link is up; no reference yet"
    if any(map(shade_falls_short, view.heat.units)):
        return "Steady, but the shade does not help enough"
    if works := next(filter(None, map(shade_works, view.heat.units)), None):
        return f"All well; {works}"
    below_db = _below_plan_db(stage, plan)
    if below_db >= BELOW_PLAN_DB:
        return f"Steady, but peaked {below_db:.1f} dB below plan: check polarisation, connectors, obstruction"
    return "All well"


def _below_plan_db(stage: FeatureStage, plan: LinkPlan) -> float:
    if stage.signal.down.carrier.measure != "Es/N0":
        return 0.0
    return plan.downlink.esno_clear_db - stage.signal.down.reference.level_db


def _next_event(view: View) -> tuple[str | None, float | None]:
    upcoming = []
    if view.signal.next_pass is not None:
        upcoming.append((pass_in_s(view.signal.next_pass, view.unix_s), "sun pass"))
    upcoming.extend(
        (unit.planned_s, f"{unit.where} at its limit")
        for unit in view.heat.units
        if unit.to_limit is not None
    )
    if view["on_battery"] and isfinite(view["runtime_s"]):
        upcoming.append((view["runtime_s"], "battery empty"))
    soon = min((item for item in upcoming if 0.0 < item[0] <= LOOK_AHEAD_S), default=None)
    if soon is None:
        return None, None
    return f"{soon[1]} in {minutes(soon[0])}", view.unix_s + soon[0]


def _figures(stage: FeatureStage, view: View, plan: LinkPlan, job: Job) -> Mapping[str, float]:
    signal, rate, heat = view.signal, view.rate, view.heat
    transmitter, modem = heat.units
    loss_db = max(0.0, signal.unexplained_db) if isfinite(signal.unexplained_db) else signal.unexplained_db
    candidates = {
        **_levels(stage.signal.down.carrier, signal.level_db, stage.signal.down.reference.level_db),
        "plan_esno_db": plan.downlink.esno_clear_db,
        "deficit_db": signal.deficit_db + signal.sun_loss_db,
        "unexplained_db": signal.unexplained_db,
        "sun_loss_db": signal.sun_loss_db,
        "rain_loss_db": signal.rain_loss_db,
        "pointing_error_deg": float(pointing_error_deg(loss_db, plan.downlink.beamwidth_deg)),
        "uplink_esno_db": signal.uplink_db,
        "plan_uplink_esno_db": plan.uplink.esno_clear_db,
        "down_mbps": rate.down_mbps,
        "up_mbps": rate.up_mbps,
        "plan_down_mbps": job.service.down_mbps,
        "plan_up_mbps": job.service.up_mbps,
        "stream_mbps": job.service.stream_mbps,
        "headroom_mbps": rate.headroom_mbps,
        "transmitter_degc": transmitter.temperature_degc,
        "transmitter_limit_degc": transmitter.limit_degc,
        "transmitter_slope_degc_min": transmitter.slope_k_per_min,
        "transmitter_to_limit_s": transmitter.planned_s,
        "modem_degc": modem.temperature_degc,
        "modem_limit_degc": modem.limit_degc,
        "air_degc": heat.air_degc,
        "transmitter_exposure_s": transmitter.exposure_s,
        "modem_exposure_s": modem.exposure_s,
        "transmitter_shaded": float(transmitter.shaded),
        "sun_w_m2": float("nan") if heat.sun is None else heat.sun.global_w_m2,
        "rtt_ms": rate.rtt_ms,
        "loss_percent": rate.loss_percent,
        "battery_percent": view["battery_percent"],
        "runtime_s": view["runtime_s"],
        "peaking": view["peaking"],
        "streaming": view["streaming"],
    }
    return {name: round(value, 4) for name, value in candidates.items() if isfinite(value)}


def _levels(carrier: Carrier, level_db: float, reference_db: float) -> Mapping[str, float]:
    """Level and reference by the figure that the modem gives; without lock there is no level.

    `reference_db` is in the same figure as `esno_db` or `cn_db`, whichever stands beside it.
    """
    level_db = level_db if carrier.locked else nan
    if carrier.measure == "quality":
        return {
            "quality_percent": level_db / QUALITY_DB_PER_PERCENT,
            "reference_quality_percent": reference_db / QUALITY_DB_PER_PERCENT,
        }
    name = "cn_db" if carrier.measure == "C/N" else "esno_db"
    return {name: level_db, "reference_db": reference_db}
