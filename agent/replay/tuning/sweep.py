"""One tuning from sweep to proposal."""

from collections.abc import Sequence
from dataclasses import dataclass

from agent.replay.compare import Difference, compare
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.choice import HeldOut, best, curve, hold_out, limit_of
from agent.replay.tuning.proposal import Proposal, needed_changes, propose
from agent.replay.tuning.sets import Changes, changes_of, sets_around
from agent.replay.tuning.tally import Tally
from agent.watch.rule_set import RuleSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Tuned:
    """`rules` holds all sets tried, set 0 being the present rules; `tallies` how they do on each session.

    `chosen` is the best set as drawn, `proposal` what is left of it without needless changes, `differences`
    what the proposal says otherwise than the present rules on each session.
    """

    rules: RuleSet
    tallies: Sequence[Tally]
    limit: float
    chosen: int
    curve: Sequence[int]
    held_out: Sequence[HeldOut]
    proposal: Proposal
    differences: Sequence[Sequence[Difference]]


def tune(bench: Bench, present: RuleSet, sets: Sequence[Changes], limit: float | None) -> Tuned:
    """Try the sets around the present rules; `limit` is of false alarms an hour, None for the present's."""
    rules = sets_around(present, sets)
    tallies = bench.tallies(rules)
    chosen = best(tallies, rules, limit)
    proposal = propose(bench, present, needed_changes(bench, present, changes_of(rules, chosen)))
    pairs = bench.outcomes(sets_around(present, [proposal.changes]))
    return Tuned(
        rules=rules,
        tallies=tallies,
        limit=limit_of(tallies, limit),
        chosen=chosen,
        curve=curve(tallies),
        held_out=hold_out(tallies, rules, limit),
        proposal=proposal,
        differences=[compare(before, after) for before, after in pairs],
    )
