"""Reads a rules file."""

from pathlib import Path

from agent.errors import UsageError
from agent.watch.rules import RuleSet, default_rules, parse_rules


def read_rules(path: Path | None) -> RuleSet:
    """The rules in the file, or the defaults without one; raises UsageError."""
    if path is None:
        return default_rules()
    try:
        return parse_rules(path.read_text(encoding="utf-8"), str(path))
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as a rules file ({error}); name a TOML file") from None
