"""Decides which alerts come to exist, live, in replay and in tuning: the only place that does."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite
from zoneinfo import ZoneInfo

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
    Note,
    Severity,
    Situation,
)
from agent.watch.calm import SteadyCalm
from agent.watch.decision_grid import DecisionGrid
from agent.watch.feature_stage import View
from agent.watch.rule_set import RuleSet
from agent.watch.rule_stage import NAMES, SEVERITIES, Change, RuleStage, RuleState
from agent.watch.rules import RULES
from agent.watch.situation import situation, unknown_situation
from agent.watch.undo import Past
from agent.watch.words import text
from agent.wording import Reader, Said, codes


@dataclass(slots=True)
class _Memory:
    """What a snapshot keeps; `rule_state` is RuleState's arrays as lists."""

    grid: DecisionGrid
    active: dict[str, ActiveAlert]
    rule_state: dict[str, list[list[float]]]
    calm: SteadyCalm
    past: Past
    carried: list[str] = field(default_factory=list)


_MEMORY = TypeAdapter(_Memory)


class AlertEngine:
    """Feed readings in time order, and time; it returns the events that they cause.

    Decisions lie on whole multiples of ten seconds, so that neither the spacing of calls to `advance` nor the
    order of readings with equal times within a cell changes when a rule decides. A reading older than what
    has been heard counts as if it had come now. The engine knows nothing but job, plan and rules, and never
    looks ahead. A note that is undone within a quarter of an hour leaves nothing behind but the events that
    it caused: from then on all is as if it had not been made.
    """

    def __init__(self, job: Job, plan: LinkPlan, rules: RuleSet) -> None:
        """`rules` has one set (ValueError otherwise)."""
        if rules.n_sets != 1:
            raise ValueError(f"the engine takes one rule set, got {rules.n_sets}")
        self._job = job
        self._plan = plan
        self._rules = RuleStage(rules)
        self._repeak_db = float(rules.values["repeak.raise_db"][0])
        self._reader = Reader(zone=ZoneInfo(job.site.time_zone))
        self._grid = DecisionGrid()
        self._view: View | None = None
        self._active: dict[str, ActiveAlert] = {}
        self._carried: set[str] = set()
        self._calm = SteadyCalm()
        self._past = Past()

    def update(self, reading: AnyReading) -> list[AlertEvent]:
        """Advance to the reading's time, then take it in."""
        if isinstance(reading, ClockChange):
            self._grid.leap(reading, self._plan)
        events = self.advance(reading.unix_s) if self._grid.due(reading.unix_s) else []
        if isinstance(reading, Note):
            return events + self._note(self._grid.as_of_now(reading))
        if self._past.checkpoints:
            self._past.keep(reading)
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
            if changes:
                events += [self._event(change, view) for change in changes]
            if self._active:
                events += self._ended_snoozes(view)
            self._calm.show(view, self._repeak_db, self._grid.stage.inputs.heard)
        return events

    def situation(self) -> Situation:
        """The whole answer as of the last decision, with the advice of standing alerts brought up to date."""
        view, calm = self._view, self._calm.shown
        if view is None or calm is None:
            return unknown_situation(self._grid, tuple(self._active.values()))
        return situation(
            self._grid.stage,
            view,
            [self._renewed(alert, view) for alert in self._active.values()],
            self._rules.waiting(view.unix_s),
            calm,
        )

    def carry(self, alerts: Iterable[ActiveAlert]) -> None:
        """Alerts of an engine whose state was lost; they stand in its words until their rules clear them."""
        for alert in alerts:
            if alert.event.rule in RULES:
                self._active[alert.event.rule] = alert
                self._carried.add(alert.event.rule)
                level = SEVERITIES.index(alert.event.severity) + 1
                self._rules.state.level[0, NAMES.index(alert.event.rule)] = level

    @property
    def plan(self) -> LinkPlan:
        """The plan that it decides by."""
        return self._plan

    def follow(self, plan: LinkPlan) -> None:
        """Decide by this plan from now on, as that of another day; what is known stays."""
        self._plan = plan

    def snapshot(self) -> dict[str, JsonValue]:
        """Everything that `restore` needs to go on as if nothing had happened; numbers may be NaN or inf."""
        return self._dumped(self._past)

    def _dumped(self, past: Past) -> dict[str, JsonValue]:
        arrays = {name: getattr(self._rules.state, name).tolist() for name in RuleState.__slots__}
        memory = _Memory(self._grid, self._active, arrays, self._calm, past, sorted(self._carried))
        dumped: dict[str, JsonValue] = _MEMORY.dump_python(memory)
        return dumped

    @classmethod
    def restore(
        cls, job: Job, plan: LinkPlan, rules: RuleSet, snapshot: Mapping[str, JsonValue]
    ) -> "AlertEngine":
        """Engine that goes on where `snapshot` was taken, with the same job, plan and rules.

        Raises pydantic.ValidationError when the snapshot is of another shape.
        """
        engine = cls(job, plan, rules)
        engine._resume(snapshot)
        return engine

    def _resume(self, snapshot: Mapping[str, JsonValue]) -> None:
        memory = _MEMORY.validate_python(snapshot)
        self._grid, self._active, self._calm = memory.grid, memory.active, memory.calm
        self._past, self._carried = memory.past, set(memory.carried)
        state = self._rules.state
        for name in RuleState.__slots__:
            fresh = getattr(state, name)
            setattr(state, name, np.array(memory.rule_state[name], fresh.dtype).reshape(fresh.shape))
        self._rules.forget_rest()

    def _note(self, note: Note) -> list[AlertEvent]:
        """An undo takes a note back, any other is taken in and may be undone."""
        if note.kind == "undo":
            return self._undo(note)
        if note.id is not None:
            self._past.mark(note, self._dumped(Past()))
        self._past.keep(note)
        self._grid.add(note)
        return []

    def _undo(self, undo: Note) -> list[AlertEvent]:
        """Go back to before the note that it names, hear all the rest again, and say what that changes."""
        found = self._past.taken_back(undo)
        if found is None:
            return []
        before, readings = found
        past, said, view = self._past.earlier(undo), dict(self._active), self._view
        self._resume(before)
        self._past = past
        for reading in readings:
            self.update(reading)
        self.advance(undo.unix_s)
        if view is None or self._view is None:
            return []
        return self._taken_back(said, self._view)

    def _taken_back(self, said: Mapping[str, ActiveAlert], view: View) -> list[AlertEvent]:
        """What the crew has to hear after an undo: alerts that stood and do not, and the other way round."""
        events = []
        for rule in said.keys() - self._active.keys():
            ending = (Said("note-taken-back"),)
            events.append(self._cleared(said[rule].event, view.unix_s, ending))
        for rule, alert in self._active.items():
            told = said.get(rule)
            if told is None or told.event.severity != alert.event.severity:
                events.append(replace(alert.event, unix_s=view.unix_s, state="raised"))
        return sorted(events, key=lambda event: event.rule)

    def _event(self, change: Change, view: View) -> AlertEvent:
        carried = change.rule in self._carried
        self._carried.discard(change.rule)
        if change.severity is None:
            alert = self._active.pop(change.rule)
            if carried:
                return self._cleared(alert.event, change.unix_s, ())
            ending = RULES[change.rule].ending(view, change.unix_s - alert.since_unix_s)
            return self._cleared(alert.event, change.unix_s, ending)
        event = self._advised(change.rule, change.severity, "raised", view)
        standing = self._active.get(change.rule)
        since = change.unix_s if standing is None else standing.since_unix_s
        self._active[change.rule] = ActiveAlert(since_unix_s=since, event=event, acknowledged=False)
        return event

    def _cleared(self, event: AlertEvent, unix_s: float, ending: Sequence[Said]) -> AlertEvent:
        return replace(
            event,
            unix_s=unix_s,
            state="cleared",
            action="",
            evidence=tuple(text(said, self._reader) for said in ending),
            said=codes(evidence=tuple(ending)),
            figures={},
            deadline_unix_s=None,
            confidence=None,
        )

    def _advised(self, rule: str, severity: Severity, state: AlertState, view: View) -> AlertEvent:
        one = RULES[rule]
        figures, sure = one.figures(view), one.confidence(view)
        action, evidence = one.action(view), one.evidence(view)
        return AlertEvent(
            unix_s=view.unix_s,
            rule=rule,
            severity=severity,
            state=state,
            cause=one.cause(view),
            action=text(action, self._reader),
            evidence=tuple(text(said, self._reader) for said in evidence),
            said=codes(action=(action,), evidence=evidence),
            figures={name: round(value, 4) for name, value in figures.items() if isfinite(value)},
            deadline_unix_s=one.deadline_unix_s(view),
            confidence=None if sure is None else round(sure, 4),
        )

    def _renewed(self, alert: ActiveAlert, view: View) -> ActiveAlert:
        """The alert with the advice of now, and the time at which it was raised or last changed."""
        if alert.event.rule in self._carried:
            return alert
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

    def _ended_snoozes(self, view: View) -> list[AlertEvent]:
        """Alerts whose time of quiet is over are raised once more: they still stand."""
        events = []
        for rule, alert in self._active.items():
            until = alert.snoozed_until_unix_s
            if until is not None and view.unix_s >= until:
                event = replace(self._renewed(alert, view).event, unix_s=view.unix_s, state="raised")
                self._active[rule] = ActiveAlert(
                    since_unix_s=alert.since_unix_s, event=event, acknowledged=False
                )
                events.append(event)
        return events
