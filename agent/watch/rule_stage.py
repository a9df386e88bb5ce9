"""Decides which rules raise, get graver and clear: threshold sets against a row of features, all at once.

One numpy comparison decides every term of every rule for every threshold set; a small state machine adds
hold times, hysteresis and the least time between two alerts of a rule. Live is one set, tuning many.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from agent.records import Severity
from agent.watch.features import Features
from agent.watch.rule_set import RuleSet
from agent.watch.rules import ASKING, RULES
from agent.watch.rules.rule import FLAG, Term

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Levels = npt.NDArray[np.int8]

SEVERITIES: tuple[Severity, ...] = ("advise", "act", "urgent")
IN_DOUBT = np.int8(2)
# So long an alert outlives the confidence on which it stood: what comes back within a minute is no news.
DOUBT_HOLD_S = 60.0
COLUMN = {name: index for index, name in enumerate(Features._fields)}
NAMES = tuple(RULES)


@dataclass(frozen=True, slots=True)
class _Clauses:
    """Terms of all clauses side by side; clause c owns the columns from `starts[c]` on."""

    feature_index: npt.NDArray[np.intp]
    sign: Floats
    threshold: Floats  # (n_sets, n_terms), multiplied by sign
    starts: npt.NDArray[np.intp]

    def hits(self, row: Floats) -> Bools:
        """Which terms hold. `row` has shape (..., n_features); returns (..., n_sets, n_terms)."""
        signed = row.take(self.feature_index, axis=-1) * self.sign
        found: Bools = signed[..., np.newaxis, :] >= self.threshold
        return found

    def hold(self, hits: Bools) -> Bools:
        """Which clauses hold, shape (..., n_sets, n_clauses)."""
        found: Bools = np.logical_and.reduceat(hits, self.starts, axis=-1)
        return found


def _compile(clauses: Sequence[tuple[Term, ...]], rules: RuleSet) -> _Clauses:
    terms = [term for clause in clauses for term in clause]
    sign = np.array([1.0 if term.side == ">=" else -1.0 for term in terms])
    columns = [
        rules.values[term.threshold]
        if isinstance(term.threshold, str)
        else np.full(rules.n_sets, term.threshold)
        for term in terms
    ]
    return _Clauses(
        feature_index=np.array([COLUMN[term.feature] for term in terms]),
        sign=sign,
        threshold=np.stack(columns, axis=1) * sign,
        starts=_starts([len(clause) for clause in clauses]),
    )


def _starts(lengths: Sequence[int]) -> npt.NDArray[np.intp]:
    """Where each of the stretches of these lengths begins."""
    return np.cumsum([0, *lengths[:-1]])


@dataclass(frozen=True, slots=True)
class Change:
    """Rule `rule` of set `set_index` is now raised at `severity`, or cleared (None)."""

    unix_s: float
    set_index: int
    rule: str
    severity: Severity | None


@dataclass(slots=True)
class RuleState:
    """State of every rule for every set, arrays of shape (n_sets, n_rules); NaN: not so."""

    level: Levels  # 0 not raised, 1 advise, 2 act, 3 urgent
    pending_level: Levels
    pending_since: Floats
    clear_since: Floats
    cleared_at: Floats
    cleared_level: Levels  # that it had when it cleared


def fresh_state(n_sets: int) -> RuleState:
    """Nothing raised, nothing pending."""
    shape = (n_sets, len(RULES))
    return RuleState(
        level=np.zeros(shape, np.int8),
        pending_level=np.zeros(shape, np.int8),
        pending_since=np.full(shape, np.nan),
        clear_since=np.full(shape, np.nan),
        cleared_at=np.full(shape, -np.inf),
        cleared_level=np.zeros(shape, np.int8),
    )


class RuleStage:
    """Decides, row by row in time order, which alerts are raised, escalated and cleared."""

    def __init__(self, rules: RuleSet, state: RuleState | None = None) -> None:
        """`state` continues an earlier stage made with the same rules."""
        clauses = [clause for rule in RULES.values() for clause in rule.clauses]
        self._severity = np.array([SEVERITIES.index(clause.severity) + 1 for clause in clauses], np.int8)
        self._rule_starts = _starts([len(rule.clauses) for rule in RULES.values()])
        self._clear_starts = _starts([len(rule.clearing) for rule in RULES.values()])
        self._doubtful = np.array([NAMES.index(rule.name) for rule in RULES.values() if rule.doubt])
        self._outright = np.array([NAMES.index(name) for name in ASKING])
        self._asking = np.array([NAMES.index(name) for name in ASKING.values()])
        flags = sorted({flag for rule in RULES.values() for flag in rule.inhibitions})
        self._clauses = _compile(
            [
                *(clause.terms for clause in clauses),
                *(terms for rule in RULES.values() for terms in rule.clearing),
                *(rule.doubt for rule in RULES.values() if rule.doubt),
                *((Term(flag, ">=", FLAG),) for flag in flags),
            ],
            rules,
        )
        self._silences = np.array([[flag in rule.inhibitions for rule in RULES.values()] for flag in flags])
        self._hold_s = self._timing(rules, "hold_s")
        self._clear_hold_s = self._timing(rules, "clear_hold_s")
        self._doubt_hold_s = np.minimum(self._clear_hold_s, DOUBT_HOLD_S)
        self._repeat_s = self._timing(rules, "repeat_s")
        self.state = fresh_state(rules.n_sets) if state is None else state
        self._settled = b""  # the terms' hits at which the state has come to rest

    @staticmethod
    def _timing(rules: RuleSet, key: str) -> Floats:
        return np.stack([rules.values[f"{rule}.{key}"] for rule in RULES], axis=1)

    def forget_rest(self) -> None:
        """The state has been set from outside."""
        self._settled = b""

    def run(self, unix_s: Sequence[float], rows: Floats) -> list[Change]:
        """Decide a block of rows, shape (n_steps, n_features), of the decisions at `unix_s` in time order."""
        level, clear = self._wanted(self._clauses.hits(rows))
        steps = zip(unix_s, level, clear, strict=True)
        return [change for moment, asked, may in steps for change in self.step(moment, asked, may)]

    def decide(self, unix_s: float, row: Floats) -> list[Change]:
        """As `run` for one row of shape (n_features,); quick while what holds stays as it was."""
        hits = self._clauses.hits(row)
        pattern = hits.tobytes()
        if pattern == self._settled:
            return []
        level, clear = self._wanted(hits)
        self._settled = pattern if self._rests(level) else b""
        return self.step(unix_s, level, clear)

    def _wanted(self, hits: Bools) -> tuple[Levels, Levels]:
        """Level that each rule asks for, and whether it may clear, both of shape (..., n_sets, n_rules).

        It may not (0), once it has asked for that throughout the clear hold (1), or, in doubt, a minute (2).
        """
        hold = self._clauses.hold(hits)
        raises, flags, doubts = len(self._severity), len(self._silences), len(self._doubtful)
        asked = hold[..., :raises] * self._severity
        level: Levels = np.maximum.reduceat(asked, self._rule_starts, axis=-1)
        # The flags are the same for every set.
        level *= ~(hold[..., :1, -flags:] @ self._silences)
        clearings = hold[..., raises : -flags - doubts]
        clear = np.logical_or.reduceat(clearings, self._clear_starts, axis=-1).astype(np.int8)
        clear[..., self._doubtful] = np.maximum(
            clear[..., self._doubtful], IN_DOUBT * hold[..., -flags - doubts : -flags]
        )
        return level, clear

    def _rests(self, level: Levels) -> bool:
        """Whether these levels leave the state as it is."""
        return bool((level == self.state.level).all() and not self.state.pending_level.any())

    def waiting(self, unix_s: float) -> list[tuple[str, Severity]]:
        """The rules of the first set that would speak if they had not spoken so shortly before."""
        state = self.state
        held = (state.level[0] == 0) & (unix_s - state.pending_since[0] >= self._hold_s[0])
        found = np.flatnonzero(held & (state.pending_level[0] > 0))
        return [(NAMES[one], SEVERITIES[int(state.pending_level[0, one]) - 1]) for one in found]

    def step(self, unix_s: float, level: Levels, clear: Levels) -> list[Change]:
        """Advance the state by one row's decisions of shape (n_sets, n_rules)."""
        state = self.state
        if self._rests(level):
            state.clear_since.fill(np.nan)
            return []
        clearing = (state.level > 0) & (clear > 0) & (level == 0)
        state.clear_since = np.where(clearing, np.fmin(state.clear_since, unix_s), np.nan)
        hold_s = np.where(clear == IN_DOUBT, self._doubt_hold_s, self._clear_hold_s)
        gone = clearing & (unix_s - state.clear_since >= hold_s)
        handed = gone[:, self._outright]
        level[:, self._asking] *= handed | (state.level[:, self._outright] == 0)
        rising = level > state.level
        fresh = rising & (state.pending_level == 0)
        state.pending_since[fresh] = unix_s
        # The gravest level that was asked for throughout the hold is the one raised.
        state.pending_level = np.where(
            rising, np.where(fresh, level, np.minimum(level, state.pending_level)), 0
        )
        held = rising & (unix_s - state.pending_since >= self._hold_s)
        # Nobody waits to hear that it is graver than last time.
        graver = (state.level > 0) | (state.pending_level > state.cleared_level)
        due = held & (graver | (unix_s - state.cleared_at >= self._repeat_s))
        due[:, self._asking] |= handed & rising[:, self._asking]
        due[:, self._asking] &= ~due[:, self._outright]
        gone[:, self._asking] |= due[:, self._outright] & (state.level[:, self._asking] > 0)
        if not (due.any() or gone.any()):
            return []
        return self._apply(unix_s, due, gone)

    def _apply(self, unix_s: float, due: Bools, gone: Bools) -> list[Change]:
        state = self.state
        state.cleared_level[gone] = state.level[gone]
        state.level[due] = state.pending_level[due]
        state.pending_level[due] = 0
        state.level[gone] = 0
        state.cleared_at[gone] = unix_s
        changes = []
        for set_index, rule_index in np.argwhere(due | gone):
            level = int(state.level[set_index, rule_index])
            severity = SEVERITIES[level - 1] if level else None
            changes.append(Change(unix_s, int(set_index), NAMES[rule_index], severity))
        return changes
