"""Which threshold sets to try: the present rules first, then a grid or random draws around them."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from math import prod

import numpy as np

from agent.errors import UsageError
from agent.watch.rule_set import RuleSet, rule_set
from agent.watch.rules import BY_NAME, RULES

Changes = Mapping[str, float]

# Two cores decide this many sets over ten days in about a quarter of an hour.
MOST_SETS = 100_000
DIGITS = 3  # a proposed number is one that a person can read out
GRID = re.compile(r"([\w.-]+)=(-?[\d.]+):(-?[\d.]+):(\d+)")
RANGE = re.compile(r"([\w.-]+)(?:=(-?[\d.]+):(-?[\d.]+))?")


@dataclass(frozen=True, slots=True)
class Range:
    """Values of one parameter from `low` to `high`; `count` of them in a grid."""

    name: str
    low: float
    high: float
    count: int = 0


def parse_grid(text: str) -> Range:
    """`repeak.raise_db=0.7:1.5:9`; raises UsageError with what is expected."""
    found = GRID.fullmatch(text)
    if found is None:
        raise UsageError(
            f"--grid {text}: expected RULE.KEY=LOW:HIGH:COUNT, such as repeak.raise_db=0.7:1.5:9"
        )
    name, low, high, count = found.groups()
    _check_name(f"--grid {text}", name)
    grid = _checked(f"--grid {text}", Range(name, _number(text, low), _number(text, high), int(count)))
    if grid.count < 1:
        raise UsageError(f"--grid {text}: the count is {grid.count}; expected at least 1")
    return grid


def parse_vary(text: str) -> list[Range]:
    """`repeak`, `repeak.raise_db` or `repeak.raise_db=0.7:1.5`; a rule stands for all its parameters."""
    found = RANGE.fullmatch(text)
    if found is None:
        raise UsageError(f"--vary {text}: expected RULE, RULE.KEY or RULE.KEY=LOW:HIGH")
    name, low, high = found.groups()
    if name in RULES and low is None:
        return full_ranges(name)
    parameter = BY_NAME[_check_name(f"--vary {text}", name)]
    if low is None:
        return [Range(name, parameter.low, parameter.high)]
    return [_checked(f"--vary {text}", Range(name, _number(text, low), _number(text, high)))]


def full_ranges(rule: str | None = None) -> list[Range]:
    """The whole allowed range of every parameter, of one rule or of all."""
    chosen = [one for one in BY_NAME.values() if rule is None or one.name.split(".")[0] == rule]
    return [Range(one.name, one.low, one.high) for one in chosen]


def _check_name(option: str, name: str) -> str:
    if name not in BY_NAME:
        rule = name.split(".")[0]
        known = [one for one in BY_NAME if one.startswith(f"{rule}.")] or list(RULES)
        raise UsageError(f"{option}: {name} is no parameter of a rule; known: {', '.join(known)}")
    return name


def _number(option: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise UsageError(f"{option}: {text} is no number; a decimal point is a dot, once") from None


def _checked(option: str, chosen: Range) -> Range:
    parameter = BY_NAME[chosen.name]
    if not parameter.low <= chosen.low <= chosen.high <= parameter.high:
        raise UsageError(
            f"{option}: {chosen.low:g} to {chosen.high:g}; expected low before high within"
            f" {parameter.low:g} to {parameter.high:g} ({parameter.unit})"
        )
    return chosen


def grid_changes(ranges: Sequence[Range]) -> list[Changes]:
    """Every combination of the ranges' values, evenly spaced; none without ranges."""
    count = prod(one.count for one in ranges) if ranges else 0
    if count > MOST_SETS:
        raise UsageError(f"the grid has {count} sets; expected at most {MOST_SETS}: take fewer values")
    columns = [[_readable(v) for v in np.linspace(one.low, one.high, one.count).tolist()] for one in ranges]
    names = [one.name for one in ranges]
    return [dict(zip(names, values, strict=True)) for values in product(*columns)] if ranges else []


def random_changes(ranges: Sequence[Range], count: int, seed: int) -> list[Changes]:
    """`count` independent draws, each uniform over its range; the same seed gives the same."""
    if not 0 <= count <= MOST_SETS:
        raise UsageError(f"--random {count}: expected at most {MOST_SETS} sets")
    rng = np.random.default_rng(seed)
    draws = rng.uniform([one.low for one in ranges], [one.high for one in ranges], (count, len(ranges)))
    return [{one.name: _readable(v) for one, v in zip(ranges, row, strict=True)} for row in draws.tolist()]


def _readable(value: float) -> float:
    return float(f"{value:.{DIGITS}g}")


def sets_around(present: RuleSet, changes: Sequence[Changes]) -> RuleSet:
    """The present rules as set 0, then one set for each of `changes` against them."""
    base = {name: float(column[0]) for name, column in present.values.items()}
    return rule_set([base, *({**base, **one} for one in changes)])


def changes_of(rules: RuleSet, index: int) -> dict[str, float]:
    """What the set at `index` changes against set 0."""
    return {name: float(column[index]) for name, column in rules.values.items() if column[index] != column[0]}
