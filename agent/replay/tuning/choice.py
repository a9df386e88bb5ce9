"""The best set of a sweep: what it is best in, its curve, and how it does on days that it did not see."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from agent.replay.scoring import SECONDS_PER_HOUR
from agent.replay.tuning.tally import Tally, together
from agent.watch.rule_set import RuleSet
from agent.watch.rules import BY_NAME

Floats = npt.NDArray[np.float64]
PRESENT = 0  # the set that stands for the rules in force

OBJECTIVE = (
    "of the sets with at most {limit:.3g} false alarms an hour, the one that finds most episodes; among"
    " equals the fewest false alarms, then the shortest mean delay in whole minutes (an early alert counts as"
    " no delay), then the smallest change"
)
# A decision comes every ten seconds and labels are no sharper than that: smaller gains are chance.
DELAY_STEP_S = 60.0


@dataclass(frozen=True, slots=True)
class Figures:
    """One set on some sessions. None: not defined, as the recall of days without episodes."""

    episodes: int
    found: int
    false_alarms: int
    hours: float
    mean_delay_s: float | None

    @property
    def recall(self) -> float | None:
        """Share of the episodes found, 0 to 1."""
        return self.found / self.episodes if self.episodes else None

    @property
    def false_alarms_per_hour(self) -> float | None:
        """False alarms over the hours scored."""
        return self.false_alarms / self.hours if self.hours > 0.0 else None


def figures(parts: Sequence[tuple[Tally, int]]) -> Figures:
    """The sum over sessions, each with the number of the set that counts there."""
    delays_s = np.concatenate([part.delays_s[index] for part, index in parts])
    found = delays_s[~np.isnan(delays_s)]
    return Figures(
        episodes=len(delays_s),
        found=len(found),
        false_alarms=int(sum(part.false_alarms[index] for part, index in parts)),
        hours=sum(part.span_s for part, _ in parts) / SECONDS_PER_HOUR,
        mean_delay_s=float(np.maximum(found, 0.0).mean()) if len(found) else None,
    )


def found_of(tally: Tally) -> npt.NDArray[np.int64]:
    """Episodes found by each set."""
    found: npt.NDArray[np.int64] = np.sum(~np.isnan(tally.delays_s), axis=1)
    return found


def best(tallies: Sequence[Tally], rules: RuleSet, limit: float | None) -> int:
    """The number of the set that is best by `OBJECTIVE`; `limit` None: what the present rules have.

    The present rules when no set keeps within the limit, and when none is better.
    """
    whole = together(tallies)
    allowed = limit_of(tallies, limit) * whole.span_s / SECONDS_PER_HOUR
    within = np.flatnonzero(whole.false_alarms <= allowed + 1e-9)
    if not len(within):
        return PRESENT
    keys = (change_sizes(rules), delay_steps(whole), whole.false_alarms, -found_of(whole))
    order = np.lexsort([key[within] for key in keys])
    return int(within[order[0]])


def limit_of(tallies: Sequence[Tally], limit: float | None) -> float:
    """False alarms an hour that are allowed: `limit`, or those of the present rules."""
    if limit is not None:
        return limit
    whole = together(tallies)
    return float(whole.false_alarms[PRESENT]) * SECONDS_PER_HOUR / whole.span_s


def delay_steps(tally: Tally) -> Floats:
    """Mean delay of the found episodes in steps of `DELAY_STEP_S`; inf where none was found."""
    late_s = np.where(np.isnan(tally.delays_s), 0.0, np.maximum(tally.delays_s, 0.0)).sum(axis=1)
    found = found_of(tally)
    mean_s = np.divide(late_s, found, out=np.full(len(found), np.inf), where=found > 0)
    steps: Floats = np.floor(mean_s / DELAY_STEP_S)
    return steps


def change_sizes(rules: RuleSet) -> Floats:
    """How far each set is from the present rules, in allowed ranges summed over all parameters."""
    sizes = np.zeros(rules.n_sets)
    for name, column in rules.values.items():
        sizes += np.abs(column - column[PRESENT]) / (BY_NAME[name].high - BY_NAME[name].low)
    return sizes


def curve(tallies: Sequence[Tally]) -> list[int]:
    """Sets that find more than any set with as few false alarms: the edge of what the sweep can have.

    In order of false alarms; of equals the first.
    """
    whole = together(tallies)
    found = found_of(whole)
    edge: list[int] = []
    for index in np.lexsort((delay_steps(whole), -found, whole.false_alarms)).tolist():
        if not edge or found[index] > found[edge[-1]]:
            edge.append(index)
    return edge


@dataclass(frozen=True, slots=True)
class HeldOut:
    """One session, the set chosen on all others, and how it and the present rules do on this one."""

    session: int
    chosen: int
    figures: Figures
    present: Figures


def hold_out(tallies: Sequence[Tally], rules: RuleSet, limit: float | None) -> list[HeldOut]:
    """Leave each session out once; empty for a single session, which cannot be left out."""
    if len(tallies) < 2:
        return []
    held = []
    for session, left_out in enumerate(tallies):
        others = [part for index, part in enumerate(tallies) if index != session]
        chosen = best(others, rules, limit)
        held.append(HeldOut(session, chosen, figures([(left_out, chosen)]), figures([(left_out, PRESENT)])))
    return held
