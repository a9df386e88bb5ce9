"""The chosen set as a rules file that a person accepts: only what changes, and the reason of each number."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from agent.replay.tuning.bench import Bench
from agent.replay.tuning.choice import (
    PRESENT,
    Figures,
    delay_steps,
    figures,
    found_of,
)
from agent.replay.tuning.sets import Changes, sets_around
from agent.replay.tuning.tally import together
from agent.watch.rule_set import RuleSet
from agent.watch.rules import BY_NAME

MOST_ROUNDS = 8
Rank = tuple[int, int, float]


@dataclass(frozen=True, slots=True)
class Proposal:
    """What to change; how the sessions come out with the present rules, with it, and without each change."""

    changes: Changes
    present: Figures
    proposed: Figures
    without: Mapping[str, Figures]


def needed_changes(bench: Bench, present: RuleSet, changes: Changes) -> dict[str, float]:
    """Take back every change without which the sessions come out no worse.

    Each round tries the changes that seem needless by themselves, singly and one after the other together,
    because two of them may each make up for the other.
    """
    needed = dict(changes)
    for _ in range(MOST_ROUNDS):
        alone = [_less(needed, [name]) for name in needed]
        whole, *ranks = _ranks(bench, present, [needed, *alone])
        needless = [name for name, rank in zip(needed, ranks, strict=True) if rank <= whole]
        if not needless:
            break
        growing = [_less(needed, needless[:count]) for count in range(1, len(needless) + 1)]
        good = [
            one for one, rank in zip(growing, _ranks(bench, present, growing), strict=True) if rank <= whole
        ]
        needed = min(good, key=len)
    return needed


def _less(changes: Changes, names: Sequence[str]) -> dict[str, float]:
    return {name: value for name, value in changes.items() if name not in names}


def _ranks(bench: Bench, present: RuleSet, sets: Sequence[Changes]) -> list[Rank]:
    """Smaller is better: episodes missed, false alarms, steps of delay."""
    whole = together(bench.tallies(sets_around(present, sets)))
    columns = zip(found_of(whole), whole.false_alarms, delay_steps(whole), strict=True)
    return [(-int(found), int(false), float(steps)) for found, false, steps in columns][1:]


def propose(bench: Bench, present: RuleSet, changes: Changes) -> Proposal:
    """Look at the changes together and without each one."""
    sets = [changes, *(_less(changes, [name]) for name in changes)]
    tallies = bench.tallies(sets_around(present, sets))
    found = [figures([(part, index) for part in tallies]) for index in range(len(sets) + 1)]
    return Proposal(changes, found[PRESENT], found[1], dict(zip(changes, found[2:], strict=True)))


def rules_toml(present: RuleSet, proposal: Proposal, heading: Sequence[str]) -> str:
    """The rules file: the present file's own numbers stay, each changed one has its reason above it."""
    values = {
        name: float(column[0])
        for name, column in present.values.items()
        if float(column[0]) != BY_NAME[name].value
    }
    lines = [f"# {line}" for line in heading]
    rule = ""
    for name in BY_NAME:
        if name not in proposal.changes and name not in values:
            continue
        owner, key = name.split(".")
        if owner != rule:
            lines += ["", f"[{owner}]"]
            rule = owner
        if name in proposal.changes:
            lines += [f"# {line}" for line in _reason(name, float(present.values[name][0]), proposal)]
        lines.append(f"{key} = {proposal.changes.get(name, values.get(name))!r}")
    return "\n".join(lines) + "\n"


def _reason(name: str, before: float, proposal: Proposal) -> list[str]:
    unit = "" if BY_NAME[name].unit == "1" else f" {BY_NAME[name].unit}"
    return [
        f"was {before:g}{unit}; the default is {BY_NAME[name].value:g}{unit}: {BY_NAME[name].reason}",
        f"with all changes: {words(proposal.proposed)}; without this one: {words(proposal.without[name])}",
    ]


def words(one: Figures) -> str:
    """The figures in one phrase."""
    alarms = f"{one.false_alarms} false alarm{'' if one.false_alarms == 1 else 's'}"
    delay = "" if one.mean_delay_s is None else f", mean delay {one.mean_delay_s / 60.0:.1f} min"
    return f"{one.found} of {one.episodes} episodes, {alarms} in {one.hours:.1f} h{delay}"
