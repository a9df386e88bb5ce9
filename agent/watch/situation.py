"""Decides the one verdict of a moment, what comes next, and the figures of the crew's page."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import inf, isfinite, nan
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from agent.plan.antenna import pointing_error_deg
from agent.records import ActiveAlert, Cause, Severity, Situation
from agent.watch.calm import NO_LOCK, NOT_HEARD, Calm
from agent.watch.carrier import QUALITY_DB_PER_PERCENT, Carrier
from agent.watch.decision_grid import DecisionGrid
from agent.watch.feature_stage import FeatureStage, View
from agent.watch.rate import RateFacts
from agent.watch.rate_tests import Tests
from agent.watch.rule_stage import SEVERITIES
from agent.watch.rules import RULES
from agent.watch.rules.link_down import LINK_DOWN
from agent.watch.rules.no_data import NO_DATA
from agent.watch.rules.rule import FLAG, Rule
from agent.watch.rules.told import LOSS, missing
from agent.watch.signal_watch import pass_in_s
from agent.watch.words import joined, text
from agent.wording import Reader, Said, codes

LOOK_AHEAD_S = 7200.0  # as far as the temperatures are forecast
# Causes of a loss, which their alerts name.
TAKES_SIGNAL: frozenset[Cause] = frozenset({"mispoint", "rain", "sun-pass", "blockage"})

Waiting = Sequence[tuple[str, Severity]]  # rules that would speak if they had not so shortly before


def situation(
    stage: FeatureStage, view: View, alerts: Sequence[ActiveAlert], waiting: Waiting, calm: Calm
) -> Situation:
    """Compose the answer; `alerts` in any order, the gravest not acknowledged one gives the verdict.

    What is graver and waits for its time to repeat goes before it; without either it is `calm`.
    """
    ranked = sorted(alerts, key=lambda alert: _rank(alert, view))
    next_event, next_unix_s = _next_event(view)
    reader = Reader(zone=ZoneInfo(view.job.site.time_zone))
    spoken = _spoken(view, ranked, waiting, calm)
    return Situation(
        unix_s=view.unix_s,
        level=spoken.level,
        verdict=joined(text(said, reader) for said in spoken.verdict),
        cause=spoken.cause,
        action="" if spoken.action is None else text(spoken.action, reader),
        deadline_unix_s=spoken.deadline_unix_s,
        next_event=None if next_event is None else text(next_event, reader),
        next_event_unix_s=next_unix_s,
        alerts=tuple(ranked),
        last_seen_unix_s=stage.inputs.last_seen_unix_s(),
        figures=_figures(stage, view),
        said=codes(
            verdict=spoken.verdict,
            action=() if spoken.action is None else (spoken.action,),
            next_event=() if next_event is None else (next_event,),
        ),
    )


def _rank(alert: ActiveAlert, view: View) -> tuple[bool, int, bool, float]:
    """Of equally grave alerts, what would not be raised now gives way: something else explains it."""
    event = alert.event
    explained = any(getattr(view.features, flag) >= FLAG for flag in RULES[event.rule].inhibitions)
    return alert.acknowledged, -SEVERITIES.index(event.severity), explained, alert.since_unix_s


class _Spoken(NamedTuple):
    level: Literal["unknown", "fine", "advise", "act", "urgent"]
    verdict: tuple[Said, ...]
    action: Said | None
    cause: Cause = "none"
    deadline_unix_s: float | None = None


def _spoken(view: View, ranked: Sequence[ActiveAlert], waiting: Waiting, calm: Calm) -> _Spoken:
    top = ranked[0] if ranked else None
    standing = "" if top is None or top.acknowledged else top.event.severity
    rank = SEVERITIES.index(standing) if standing else -1
    graver = [one for one in waiting if SEVERITIES.index(one[1]) > rank]
    if graver or top is not None:
        name, severity = max(graver, key=lambda one: SEVERITIES.index(one[1])) if graver else ("", "advise")
        if not graver and top is not None:
            name, severity = top.event.rule, top.event.severity
        rule = RULES[name]
        action, cause = rule.action(view), rule.cause(view)
        verdict = (rule.headline(view), *_besides(rule, view, calm))
        return _Spoken(severity, verdict, action, cause, rule.deadline_unix_s(view))
    return _Spoken(calm.level, (calm.verdict,), calm.action)


def _besides(rule: Rule, view: View, calm: Calm) -> tuple[Said, ...]:
    """What the head says beside the alert that leads: no lock, no signal, a loss that it does not tell."""
    said = calm.verdict
    if said.code.startswith(LOSS) and not rule.headline(view).code.startswith(LOSS):
        # An alert that names the cause only lacks the size.
        return (missing(said) if rule.cause(view) in TAKES_SIGNAL else said,)
    unheard = said.code == NOT_HEARD and said.figures["input"] == "signal"
    besides = (said.code == NO_LOCK and rule is not LINK_DOWN) or (
        unheard and rule not in (LINK_DOWN, NO_DATA)
    )
    return (said,) if besides else ()


def unknown_situation(grid: DecisionGrid, alerts: tuple[ActiveAlert, ...]) -> Situation:
    """The answer before the first decision."""
    return Situation(
        unix_s=grid.now_unix_s,
        level="unknown",
        verdict=text(Said("waiting")),
        cause="none",
        action="",
        deadline_unix_s=None,
        next_event=None,
        next_event_unix_s=None,
        alerts=alerts,
        last_seen_unix_s={},
        figures={},
    )


def _next_event(view: View) -> tuple[Said | None, float | None]:
    upcoming: list[tuple[float, Said]] = []
    if view.signal.next_pass is not None:
        until_s = pass_in_s(view.signal.next_pass, view.unix_s)
        upcoming.append((until_s, Said("next-sun-pass", {"in_s": until_s})))
    upcoming.extend(
        (unit.planned_s, Said("next-limit", {"where": unit.where, "in_s": unit.planned_s}))
        for unit in view.heat.units
        if unit.to_limit is not None
    )
    runtime_s = view.features.runtime_s
    if view.features.on_battery and isfinite(runtime_s):
        upcoming.append((runtime_s, Said("next-battery", {"in_s": runtime_s})))
    ahead = [item for item in upcoming if 0.0 < item[0] <= LOOK_AHEAD_S]
    shade_by_unix_s, bare = view.plan.heat.shade_by_unix_s, not view.heat.units[0].shaded
    if bare and shade_by_unix_s is not None and shade_by_unix_s > view.unix_s:
        safe = Said("safe-unshaded", {"until_unix_s": shade_by_unix_s})
        ahead.append((shade_by_unix_s - view.unix_s, safe))
    if not ahead:
        # Said only where somebody may think otherwise.
        all_day = bare and shade_by_unix_s is None and view.plan.heat.sun_hours > 0.0
        return (Said("safe-all-day") if all_day else None), None
    soon_s, said = min(ahead, key=lambda item: item[0])
    return said, view.unix_s + soon_s


def _figures(stage: FeatureStage, view: View) -> Mapping[str, float]:
    signal, heat, plan, job = view.signal, view.heat, view.plan, view.job
    rate = _rate_now(stage, view)
    transmitter, modem = heat.units
    loss_db = max(0.0, signal.unexplained_db) if isfinite(signal.unexplained_db) else signal.unexplained_db
    candidates = {
        **_levels(
            view.unix_s, stage.signal.down.carrier, signal.level_db, stage.signal.down.reference.level_db
        ),
        "level_by_hand_unix_s": _by_hand_unix_s(stage),
        "plan_esno_db": plan.downlink.esno_clear_db,
        "deficit_db": signal.deficit_db + signal.sun_loss_db,
        "unexplained_db": signal.unexplained_db,
        "sun_loss_db": signal.sun_loss_db,
        "rain_loss_db": signal.rain_loss_db,
        "pointing_error_deg": float(pointing_error_deg(loss_db, plan.downlink.beamwidth_deg)),
        "uplink_esno_db": signal.uplink_db,
        "plan_uplink_esno_db": plan.uplink.esno_clear_db,
        "rate_tested_unix_s": _old_test_unix_s(stage.tests, rate),
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
        "transmitter_to_limit_early_s": inf if transmitter.to_limit is None else transmitter.to_limit.early_s,
        "modem_degc": modem.temperature_degc,
        "modem_limit_degc": modem.limit_degc,
        "air_degc": heat.air_degc,
        "transmitter_exposure_s": transmitter.exposure_s,
        "modem_exposure_s": modem.exposure_s,
        "transmitter_shaded": float(transmitter.shaded),
        "sun_w_m2": float("nan") if heat.sun is None else heat.sun.global_w_m2,
        "rtt_ms": rate.rtt_ms,
        "loss_percent": rate.loss_percent,
        "battery_percent": view.features.battery_percent,
        "runtime_s": view.features.runtime_s,
        "peaking": view.features.peaking,
        "streaming": view.features.streaming,
    }
    return {name: round(value, 4) for name, value in candidates.items() if isfinite(value)}


def _rate_now(stage: FeatureStage, view: View) -> RateFacts:
    """What the tests say of now: no rate, where lock is gone or the last of them got nothing through."""
    if stage.signal.down.carrier.locked_throughout(view.unix_s) and not view.rate.dead:
        return view.rate
    return replace(view.rate, down_mbps=nan, up_mbps=nan, headroom_mbps=nan)


def _by_hand_unix_s(stage: FeatureStage) -> float:
    """When a person read the level off the modem; NaN where the newest is the modem's own word."""
    return stage.inputs.by_hand_unix_s["signal"] if stage.signal.down.carrier.by_hand else nan


def _old_test_unix_s(tests: Tests, rate: RateFacts) -> float:
    """When the rate was last tested, where that is too old to stand for now; NaN otherwise."""
    if isfinite(rate.down_mbps) or isfinite(rate.up_mbps):
        return nan
    times = (tests.down_mbps.interval.last_unix_s, tests.up_mbps.interval.last_unix_s)
    return max(filter(isfinite, times), default=nan)


def _levels(unix_s: float, carrier: Carrier, level_db: float, reference_db: float) -> Mapping[str, float]:
    """Level and reference by the figure that the modem gives; within a minute without lock there is no level.

    `reference_db` is in the same figure as `esno_db` or `cn_db`, whichever stands beside it.
    """
    level_db = level_db if carrier.locked_throughout(unix_s) else nan
    if carrier.measure == "quality":
        return {
            "quality_percent": level_db / QUALITY_DB_PER_PERCENT,
            "reference_quality_percent": reference_db / QUALITY_DB_PER_PERCENT,
        }
    name = "cn_db" if carrier.measure == "C/N" else "esno_db"
    return {name: level_db, "reference_db": reference_db}
