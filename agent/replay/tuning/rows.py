"""The feature stage of a whole session, once for all threshold sets, and the events of each set from it."""

from collections.abc import Iterator
from dataclasses import dataclass
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

Floats = npt.NDArray[np.float64]

# A thousand sets compare some 70 terms a row: blocks of this many rows stay within a processor's cache.
BLOCK_ROWS = 16


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionRows:
    """Features of every decision of a session; `rows` has shape (n_steps, n_features).

    `acknowledged` holds when the crew acknowledged which rule's alert. `labels` is empty where nothing went
    wrong or nobody has labelled the day.
    """

    span: Interval
    labels: tuple[Label, ...]
    unix_s: Floats
    rows: Floats
    acknowledged: tuple[tuple[float, str], ...]


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
    acknowledged: list[tuple[float, str]] = []
    for reading in session.readings:
        if isinstance(reading, ClockChange):
            grid.leap(reading, plan)
        views.extend(grid.advance(reading.unix_s, plan, session.job))
        taken = grid.add(reading)
        if isinstance(taken, Acknowledge):
            acknowledged.append((taken.unix_s, taken.rule))
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
    waiting = list(reversed(session.acknowledged))
    for change in _changes(session, rules):
        # The engine decides what is due at a time before it takes in the readings of that time.
        while waiting and waiting[-1][0] < change.unix_s:
            _acknowledge(spoken, *waiting.pop())
        spoken[change.set_index].change(change)
    while waiting:
        _acknowledge(spoken, *waiting.pop())
    return [speaker.outcomes for speaker in spoken]


def _changes(session: SessionRows, rules: RuleSet) -> Iterator[Change]:
    stage = RuleStage(rules)
    for first in range(0, len(session.unix_s), BLOCK_ROWS):
        block = slice(first, first + BLOCK_ROWS)
        yield from stage.run(session.unix_s[block].tolist(), session.rows[block])


def _acknowledge(spoken: list["_Speaker"], unix_s: float, rule: str) -> None:
    for speaker in spoken:
        speaker.acknowledge(unix_s, rule)


class _Speaker:
    """The alerts of one set: which stand, and what was said."""

    def __init__(self) -> None:
        self.outcomes: list[Outcome] = []
        self._standing: dict[str, Severity] = {}

    def change(self, change: Change) -> None:
        if change.severity is None:
            severity = self._standing.pop(change.rule)
            self.outcomes.append(Outcome(change.unix_s, change.rule, severity, "cleared"))
        else:
            self._standing[change.rule] = change.severity
            self.outcomes.append(Outcome(change.unix_s, change.rule, change.severity, "raised"))

    def acknowledge(self, unix_s: float, rule: str) -> None:
        if rule in self._standing:
            self.outcomes.append(Outcome(unix_s, rule, self._standing[rule], "acknowledged"))
