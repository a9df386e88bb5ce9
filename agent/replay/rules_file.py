"""Reads a rules file."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from agent.errors import UsageError
from agent.watch.rule_set import RuleSet, default_rules, parse_rules


def read_rules(path: Path | None) -> RuleSet:
    """The rules in the file, or the defaults without one; raises UsageError."""
    if path is None:
        return default_rules()
    try:
        return parse_rules(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as a rules file ({error}); name a TOML file") from None


@dataclass(frozen=True, slots=True)
class RulesToCompare:
    """The rules to replay with, and those to compare them with (None: with nothing); the names of both."""

    used: RuleSet
    before: RuleSet | None
    names: tuple[str, str]


def rules_to_compare(paths: Sequence[Path]) -> RulesToCompare:
    """No file: the defaults; one: it, beside the defaults; two: the second, beside the first."""
    if len(paths) > 2:
        raise UsageError(f"--rules is given {len(paths)} times; expected two files at most")
    used = read_rules(paths[-1] if paths else None)
    if not paths:
        return RulesToCompare(used, None, ("", "defaults"))
    before = paths[0] if len(paths) == 2 else None
    return RulesToCompare(used, read_rules(before), (str(before or "defaults"), str(paths[-1])))
