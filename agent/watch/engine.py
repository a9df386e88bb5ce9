"""The alert engine: the only place where alerts come to exist, live, in replay and in tuning."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from pydantic import TypeAdapter

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.records import (
    Acknowledge,
    ActiveAlert,
    AlertEvent,
    AlertState,
    AnyReading,
    ClockChange,
    JsonValue,
    Severity,
    Situation,
)
from agent.watch.decision_grid import DecisionGrid
from agent.watch.feature_stage import View
from agent.watch.rule_set import RuleSet
from agent.watch.rule_stage import NAMES, SEVERITIES, Change, RuleStage, RuleState
from agent.watch.rules import RULES
from agent.watch.situation import situation, unknown_situation
from agent.watch.words import text


@dataclass(slots=True)
class _Memory:
    """What a snapshot keeps; `rule_state` is RuleState's arrays as lists."""

    grid: DecisionGrid
    active: dict[str, ActiveAlert]
    rule_state: dict[str, list[list[float]]]


_MEMORY = TypeAdapter(_Memory)


class AlertEngine:
    """Feed readings in time order, and time; it returns the events that they cause.

    Decisions lie on whole multiples of ten seconds, so that neither the spacing of calls to `advance` nor the
    order of readings with equal times within a cell changes when a rule decides. A reading older than what
    has been heard counts as if it had come now. The engine knows nothing but job, plan and rules, and never
    looks ahead.
    """

    def __init__(self, job: Job, plan: LinkPlan, rules: RuleSet) -> None:
        """`rules` has one set (ValueError otherwise)."""
        if rules.n_sets != 1:
            raise ValueError(f"the engine takes one rule set, got {rules.n_sets}")
        self._job = job
        self._plan = plan
        self._rules = RuleStage(rules)
        self._grid = DecisionGrid()
        self._view: View | None = None
        self._active: dict[str, ActiveAlert] = {}

    def update(self, reading: AnyReading) -> list[AlertEvent]:
        """Advance to the reading's time, then take it in."""
        if isinstance(reading, ClockChange):
            self._grid.leap(reading, self._plan)
        events = self.advance(reading.unix_s) if self._grid.due(reading.unix_s) else []
        taken = self._grid.add(reading)
        if isinstance(taken, Acknowledge):
            events.extend(self._acknowledge(taken))
        return events

    def advance(self, unix_s: float) -> list[AlertEvent]:
        """Decide whatever is due at `unix_s`; going back in time does nothing."""
        events: list[AlertEvent] = []
        if not self._grid.due(unix_s):
            self._grid.now_unix_s = max(self._grid.now_unix_s, unix_s)
            return events
        for view in self._grid.advance(unix_s, self._plan, self._job):
            self._view = view
            changes = self._rules.decide(view.unix_s, np.array(view.features))
            events.extend(self._event(change, view) for change in changes)
            self._end_snoozes(view.unix_s)
        return events

    def situation(self) -> Situation:
        """The whole answer as of the last decision, with the advice of standing alerts brought up to date."""
        view = self._view
        if view is None:
            return unknown_situation(self._grid, tuple(self._active.values()))
        return situation(
            self._grid.stage,
            view,
            [self._renewed(alert, view) for alert in self._active.values()],
        )

    def carry(self, alerts: Iterable[ActiveAlert]) -> None:
        """Alerts of an engine whose state was lost; they stand until their rules clear them."""
        for alert in alerts:
            if alert.event.rule in RULES:
                self._active[alert.event.rule] = alert
                level = SEVERITIES.index(alert.event.severity) + 1
                self._rules.state.level[0, NAMES.index(alert.event.rule)] = level

    def snapshot(self) -> dict[str, JsonValue]:
        """Everything that `restore` needs to go on as if nothing had happened; numbers may be NaN or inf."""
        arrays = {name: getattr(self._rules.state, name).tolist() for name in RuleState.__slots__}
        memory = _Memory(self._grid, self._active, arrays)
        dumped: dict[str, JsonValue] = _MEMORY.dump_python(memory)
        return dumped

    @classmethod
    def restore(
        cls, job: Job, plan: LinkPlan, rules: RuleSet, snapshot: Mapping[str, JsonValue]
    ) -> "AlertEngine":
        """Engine that goes on where `snapshot` was taken, with the same job, plan and rules.

        Raises pydantic.ValidationError when the snapshot is of another shape.
        """
        memory = _MEMORY.validate_python(snapshot)
        engine = cls(job, plan, rules)
        engine._grid = memory.grid
        engine._active = memory.active
        state = engine._rules.state
        for name in RuleState.__slots__:
            fresh = getattr(state, name)
            setattr(state, name, np.array(memory.rule_state[name], fresh.dtype).reshape(fresh.shape))
        return engine

    def _event(self, change: Change, view: View) -> AlertEvent:
        if change.severity is None:
            alert = self._active.pop(change.rule)
            ending = RULES[change.rule].ending(view, change.unix_s - alert.since_unix_s)
            return replace(
                alert.event,
                unix_s=change.unix_s,
                state="cleared",
                action="",
                evidence=tuple(map(text, ending)),
                figures={},
                deadline_unix_s=None,
            )
        event = self._advised(change.rule, change.severity, "raised", view)
        standing = self._active.get(change.rule)
        since = change.unix_s if standing is None else standing.since_unix_s
        self._active[change.rule] = ActiveAlert(since_unix_s=since, event=event, acknowledged=False)
        return event

    def _advised(self, rule: str, severity: Severity, state: AlertState, view: View) -> AlertEvent:
        one = RULES[rule]
        return AlertEvent(
            unix_s=view.unix_s,
            rule=rule,
            severity=severity,
            state=state,
            cause=one.cause(view),
            action=text(one.action(view)),
            evidence=tuple(map(text, one.evidence(view))),
            figures={name: round(value, 4) for name, value in one.figures(view).items() if isfinite(value)},
            deadline_unix_s=one.deadline_unix_s(view),
        )

    def _renewed(self, alert: ActiveAlert, view: View) -> ActiveAlert:
        """The alert with the advice of now, and the time at which it was raised or last changed."""
        event = self._advised(alert.event.rule, alert.event.severity, alert.event.state, view)
        return replace(alert, event=replace(event, unix_s=alert.event.unix_s))

    def _acknowledge(self, reading: Acknowledge) -> list[AlertEvent]:
        alert = self._active.get(reading.rule)
        if alert is None:
            return []
        until = None if reading.snooze_s is None else reading.unix_s + reading.snooze_s
        event = replace(alert.event, unix_s=reading.unix_s, state="acknowledged")
        self._active[reading.rule] = replace(
            alert, event=event, acknowledged=True, snoozed_until_unix_s=until
        )
        return [event]

    def _end_snoozes(self, unix_s: float) -> None:
        for rule, alert in self._active.items():
            if alert.snoozed_until_unix_s is not None and unix_s >= alert.snoozed_until_unix_s:
                self._active[rule] = replace(alert, acknowledged=False, snoozed_until_unix_s=None)
