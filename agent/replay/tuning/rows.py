"""The feature stage of a whole session, once for all threshold sets, and the events of each set from it."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from math import ceil, inf
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from agent.link_plan import LinkPlan
from agent.records import Acknowledge, AlertState, ClockChange, Severity
from agent.replay.labels import Label
from agent.replay.scoring import Interval
from agent.replay.sessions import Session
from agent.watch.decision_grid import DecisionGrid
from agent.watch.feature_stage import View
from agent.watch.features import Features
from agent.watch.rule_set import RuleSet
from agent.watch.rule_stage import Change, RuleStage
from agent.watch.series import GRID_S

Floats = npt.NDArray[np.float64]

# A thousand sets compare some 70 terms a row: blocks of this many rows stay within a processor's cache.
BLOCK_ROWS = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRows:
    """Features of every decision of a session; `rows` has shape (n_steps, n_features).

    `acknowledged` holds when the crew acknowledged which rule's alert, and until when it wanted quiet (inf:
    it said nothing of that). `labels` is empty where nothing went
    wrong or nobody has labelled the day.
    """

    span: Interval
    labels: tuple[Label, ...]
    unix_s: Floats
    rows: Floats
    acknowledged: tuple[tuple[float, str, float], ...]


class Outcome(NamedTuple):
    """What an `AlertEvent` says apart from its words."""

    unix_s: float
    rule: str
    severity: Severity
    state: AlertState


def session_rows(session: Session, plan: LinkPlan) -> SessionRows:
    """Walk the session as the engine does, and keep what its rule stage would see."""
    grid = DecisionGrid()
    views: list[View] = []
    acknowledged: list[tuple[float, str, float]] = []
    for reading in session.readings:
        if isinstance(reading, ClockChange):
            grid.leap(reading, plan)
        views.extend(grid.advance(reading.unix_s, plan, session.job))
        taken = grid.add(reading)
        if isinstance(taken, Acknowledge):
            quiet_s = inf if taken.snooze_s is None else taken.snooze_s
            acknowledged.append((taken.unix_s, taken.rule, taken.unix_s + quiet_s))
    views.extend(grid.advance(session.end_unix_s, plan, session.job))
    rows = np.array([view.features for view in views]).reshape(len(views), len(Features._fields))
    return SessionRows(
        span=Interval(session.start_unix_s, session.end_unix_s),
        labels=session.labels or (),
        unix_s=np.array([view.unix_s for view in views]),
        rows=rows,
        acknowledged=tuple(acknowledged),
    )


def outcomes_of_sets(session: SessionRows, rules: RuleSet) -> list[list[Outcome]]:
    """For each threshold set the outcomes in the order in which the engine would say them."""
    spoken = [_Speaker() for _ in range(rules.n_sets)]
    waiting = _answers(session)
    for change in _changes(session, rules):
        # The engine decides what is due at a time before it takes in the readings of that time.
        while waiting and waiting[-1][0] < change.unix_s:
            waiting.pop()[1](spoken)
        spoken[change.set_index].change(change)
    while waiting and waiting[-1][0] <= session.span.end_unix_s:
        waiting.pop()[1](spoken)
    return [speaker.outcomes for speaker in spoken]


def _changes(session: SessionRows, rules: RuleSet) -> Iterator[Change]:
    stage = RuleStage(rules)
    for first in range(0, len(session.unix_s), BLOCK_ROWS):
        block = slice(first, first + BLOCK_ROWS)
        yield from stage.run(session.unix_s[block].tolist(), session.rows[block])


def _answers(session: SessionRows) -> list[tuple[float, Callable[[list["_Speaker"]], None]]]:
    """What the crew's acknowledgements do and when, the last first; a quiet ends with a decision."""
    found = []
    for unix_s, rule, until_unix_s in session.acknowledged:
        found.append((unix_s, 1, partial(_acknowledge, unix_s, rule, until_unix_s)))
        if until_unix_s < inf:
            ends_unix_s = ceil(until_unix_s / GRID_S) * GRID_S
            found.append((ends_unix_s, 0, partial(_end_quiet, ends_unix_s, rule, until_unix_s)))
    ordered = sorted(found, key=lambda one: one[:2], reverse=True)
    return [(unix_s, act) for unix_s, _, act in ordered]


def _acknowledge(unix_s: float, rule: str, until_unix_s: float, spoken: list["_Speaker"]) -> None:
    for speaker in spoken:
        speaker.acknowledge(unix_s, rule, until_unix_s)


def _end_quiet(unix_s: float, rule: str, until_unix_s: float, spoken: list["_Speaker"]) -> None:
    for speaker in spoken:
        speaker.end_quiet(unix_s, rule, until_unix_s)


class _Speaker:
    """The alerts of one set: which stand, and what was said."""

    def __init__(self) -> None:
        self.outcomes: list[Outcome] = []
        self._standing: dict[str, Severity] = {}
        self._quiet: dict[str, float] = {}

    def change(self, change: Change) -> None:
        self._quiet.pop(change.rule, None)
        if change.severity is None:
            severity = self._standing.pop(change.rule)
            self.outcomes.append(Outcome(change.unix_s, change.rule, severity, "cleared"))
        else:
            self._standing[change.rule] = change.severity
            self.outcomes.append(Outcome(change.unix_s, change.rule, change.severity, "raised"))

    def end_quiet(self, unix_s: float, rule: str, until_unix_s: float) -> None:
        if self._quiet.get(rule) == until_unix_s:
            del self._quiet[rule]
            self.outcomes.append(Outcome(unix_s, rule, self._standing[rule], "raised"))

    def acknowledge(self, unix_s: float, rule: str, until_unix_s: float) -> None:
        if rule in self._standing:
            self._quiet[rule] = until_unix_s
            self.outcomes.append(Outcome(unix_s, rule, self._standing[rule], "acknowledged"))
