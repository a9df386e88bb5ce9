"""Decides which thresholds hold: sets of them, and the rules file that says what differs from the rules' own.

A `RuleSet` holds one value per parameter and set; live and replay use one set, tuning uses many. A rules file
is TOML with one table a rule and only the keys to change.
"""

import hashlib
import json
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from agent.errors import UsageError
from agent.watch.rules import BY_NAME, PARAMETERS, RULES

Thresholds = Mapping[str, npt.NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class RuleSet:
    """Threshold sets: `values[name]` has shape (n_sets,), for every name of `PARAMETERS`."""

    values: Thresholds

    @property
    def n_sets(self) -> int:
        """How many sets are held side by side."""
        return len(next(iter(self.values.values())))

    def digest(self) -> str:
        """Hex digest of all numbers; two rule sets with the same digest decide the same."""
        text = json.dumps({name: column.tolist() for name, column in sorted(self.values.items())})
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def only(self, index: int) -> "RuleSet":
        """The one set at `index`."""
        return self.between(index, index + 1)

    def between(self, first: int, last: int) -> "RuleSet":
        """The sets from `first` to before `last`."""
        return RuleSet({name: column[first:last] for name, column in self.values.items()})


def rule_set(sets: Sequence[Mapping[str, float]]) -> RuleSet:
    """Threshold sets from what each changes against the defaults (names as "rule.key")."""
    return RuleSet(
        {
            parameter.name: np.array([changes.get(parameter.name, parameter.value) for changes in sets])
            for parameter in PARAMETERS
        }
    )


def default_rules() -> RuleSet:
    """The one set of defaults."""
    return rule_set([{}])


def parse_rules(text: str, source_name: str) -> RuleSet:
    """One set from a rules file's text.

    Raises UsageError naming file, rule, key and what is allowed.
    """
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{source_name}: not TOML: {error}; mend that line") from error
    changes: dict[str, float] = {}
    for rule, table in tables.items():
        if rule not in RULES or not isinstance(table, dict):
            raise UsageError(f"{source_name}: [{rule}] is no rule; known rules: {', '.join(RULES)}")
        for key, value in table.items():
            changes[f"{rule}.{key}"] = _checked(source_name, rule, key, value)
    return rule_set([changes])


def _checked(source_name: str, rule: str, key: str, value: object) -> float:
    parameter = BY_NAME.get(f"{rule}.{key}")
    if parameter is None:
        known = ", ".join(name.split(".")[1] for name in BY_NAME if name.startswith(f"{rule}."))
        raise UsageError(f"{source_name}: [{rule}] {key} is unknown; known keys: {known}")
    allowed = f"a number from {parameter.low:g} to {parameter.high:g} ({parameter.unit})"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise UsageError(f"{source_name}: [{rule}] {key} = {value!r}: expected {allowed}")
    if not parameter.low <= value <= parameter.high:
        raise UsageError(f"{source_name}: [{rule}] {key} = {value:g}: expected {allowed}")
    return float(value)
