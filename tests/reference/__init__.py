"""Published values with their sources: one JSON list of cases a topic.

Every case has `source`, `inputs`, `expected`, `tolerance` and `provenance` (what was read, what is from
memory).
"""

import json
from pathlib import Path
from typing import TypedDict

FOLDER = Path(__file__).parent


class Case(TypedDict, total=False):
    """One published case; the keys of inputs and expected values differ from topic to topic."""

    source: str
    inputs: dict[str, float]
    expected: dict[str, float]
    tolerance: str
    provenance: str
    note: str


def cases(name: str, *, having: str = "") -> list[Case]:
    """The cases of `name`.json whose inputs or expected values have the key `having` (all, when empty)."""
    listed: list[Case] = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    chosen = [case for case in listed if not having or having in {**case["inputs"], **case["expected"]}]
    if not chosen:
        raise ValueError(f"{name}.json has no case with {having!r}")
    return chosen
