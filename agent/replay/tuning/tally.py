"""How each threshold set does on one session, as counts that add up over sessions."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

import numpy as np
import numpy.typing as npt

from agent.replay.scoring import TARGETS, score
from agent.replay.tuning.rows import SessionRows, outcomes_of_sets
from agent.watch.rule_set import RuleSet

# Outcomes of so many sets are held at once.
SETS_AT_ONCE = 2000


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """All scored rules of each set over one or more sessions.

    `delays_s` has shape (n_sets, n_episodes), NaN for an episode that was missed, negative for an early
    alert; `false_alarms` shape (n_sets,); `span_s` is the time scored.
    """

    delays_s: npt.NDArray[np.float64]
    false_alarms: npt.NDArray[np.int64]
    span_s: float


def tally(session: SessionRows, rules: RuleSet) -> Tally:
    """Every set of `rules` on the session."""
    parts = [
        _tally(session, rules.between(first, first + SETS_AT_ONCE))
        for first in range(0, rules.n_sets, SETS_AT_ONCE)
    ]
    return Tally(
        delays_s=np.concatenate([part.delays_s for part in parts]),
        false_alarms=np.concatenate([part.false_alarms for part in parts]),
        span_s=session.span.end_unix_s - session.span.start_unix_s,
    )


def _tally(session: SessionRows, rules: RuleSet) -> Tally:
    causes = {target.cause for target in TARGETS.values()}
    episodes = sum(label.cause in causes for label in session.labels)
    delays_s = np.full((rules.n_sets, episodes), nan)
    false_alarms = np.zeros(rules.n_sets, np.int64)
    for index, outcomes in enumerate(outcomes_of_sets(session, rules)):
        scores = score(outcomes, session.labels, session.span).values()
        found = [delay_s for one in scores for delay_s in one.delays_s]
        delays_s[index, : len(found)] = found
        false_alarms[index] = sum(one.false_alarms for one in scores)
    return Tally(
        delays_s=delays_s,
        false_alarms=false_alarms,
        span_s=session.span.end_unix_s - session.span.start_unix_s,
    )


def together(parts: Sequence[Tally]) -> Tally:
    """The tallies of several sessions as one."""
    return Tally(
        delays_s=np.concatenate([part.delays_s for part in parts], axis=1),
        false_alarms=np.sum([part.false_alarms for part in parts], axis=0),
        span_s=sum(part.span_s for part in parts),
    )
