"""Decides what it takes to make a note undone: the state before it, and what has been heard since."""

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field

from pydantic import TypeAdapter

from agent.records import KINDS, AnyReading, JsonValue, Note

UNDO_WITHIN_S = 900.0  # later, what the note did has long been acted upon

_KIND_OF = {record: kind for kind, record in KINDS.items()}
_ADAPTERS = {kind: TypeAdapter(record) for kind, record in KINDS.items()}

Heard = tuple[str, dict[str, JsonValue]]  # a reading by its kind and fields


@dataclass(slots=True)
class Checkpoint:
    """The engine's state before a note, and how many of the readings had been heard by then."""

    id: str
    unix_s: float
    before: str  # as JSON
    heard: int


@dataclass(slots=True)
class Past:
    """The notes of the last quarter of an hour and all readings since the first of them; else nothing."""

    checkpoints: list[Checkpoint] = field(default_factory=list)
    readings: list[Heard] = field(default_factory=list)

    def keep(self, reading: AnyReading) -> None:
        """Remember a reading as long as there is a note to undo."""
        if self.checkpoints:
            self._forget(reading.unix_s)
        if self.checkpoints:
            self.readings.append((_KIND_OF[type(reading)], asdict(reading)))

    def mark(self, note: Note, before: Mapping[str, JsonValue]) -> None:
        """Remember the state before a note that can be named."""
        self._forget(note.unix_s)
        if note.id is not None:
            self.checkpoints.append(Checkpoint(note.id, note.unix_s, json.dumps(before), len(self.readings)))

    def taken_back(self, undo: Note) -> tuple[dict[str, JsonValue], list[AnyReading]] | None:
        """State before the note that `undo` names, and the readings since but it; None where it is old."""
        self._forget(undo.unix_s)
        found = next((one for one in self.checkpoints if one.id == undo.id), None)
        if found is None:
            return None
        later = (_reading(heard) for heard in self.readings[found.heard :])
        kept = [one for one in later if not (isinstance(one, Note) and one.id == undo.id)]
        before: dict[str, JsonValue] = json.loads(found.before)
        return before, kept

    def earlier(self, than: Note) -> "Past":
        """What was remembered before the note of this id: those can still be undone."""
        index = next(i for i, one in enumerate(self.checkpoints) if one.id == than.id)
        return Past(self.checkpoints[:index], self.readings[: self.checkpoints[index].heard])

    def _forget(self, unix_s: float) -> None:
        old = sum(one.unix_s < unix_s - UNDO_WITHIN_S for one in self.checkpoints)
        if old:
            del self.checkpoints[:old]
            first = self.checkpoints[0].heard if self.checkpoints else len(self.readings)
            del self.readings[:first]
            for one in self.checkpoints:
                one.heard -= first


def _reading(heard: Heard) -> AnyReading:
    kind, fields = heard
    found: AnyReading = _ADAPTERS[kind].validate_python(fields)
    return found
