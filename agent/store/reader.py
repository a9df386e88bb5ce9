"""What the agent and its commands read from the store: readings in stored order, events, the situation."""

import heapq
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cache
from itertools import chain
from math import inf, nextafter
from operator import attrgetter
from typing import Any, Literal

from pydantic import AwareDatetime, TypeAdapter

from agent.records import KINDS, UNDO, AlertEvent, AnyReading, ClockChange, JsonValue, Note, Situation
from agent.store.ageing import pieces_after, pieces_between
from agent.store.questions import Connection
from agent.store.rollups import numeric_fields
from agent.store.schema import own_fields
from agent.store.sealing import unsealed
from agent.store.shown import ShownTimes
from agent.store.writer import Stored

SITUATION = TypeAdapter(Situation)
_EVENT = TypeAdapter(AlertEvent)


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The engine's state after the reading `seq`, made with the plan and rules of `digest`."""

    seq: int
    unix_s: float
    digest: str
    body: dict[str, JsonValue]


@dataclass(frozen=True, slots=True)
class StoredSituation:
    """The latest situation of a terminal; `written_wall_unix_s` by the computer's own clock."""

    terminal: str
    situation: Situation
    written_wall_unix_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InputState:
    """Something that brings readings in or alerts out, by its kind and name. `error` is what stops it."""

    name: str
    state: Literal["starting", "ok", "failing"]
    since: AwareDatetime
    error: str | None
    finding: str | None


_INPUT_STATES = TypeAdapter(tuple[InputState, ...])


@dataclass(frozen=True, slots=True)
class InputAge:
    """When an input was last heard; `place` is a thermometer's, else empty."""

    kind: str
    place: str
    unix_s: float


def readings_after(
    connection: Connection, terminal: str, seq: int, kinds: Iterable[str] = KINDS
) -> Iterator[Stored]:
    """The readings of these kinds stored after `seq`, in the order in which the engine took them."""
    return heapq.merge(
        *(_kind_after(connection, kind, terminal, seq) for kind in kinds), key=attrgetter("seq")
    )


def stored_between(
    connection: Connection, terminal: str, start_unix_s: float, end_unix_s: float
) -> Iterator[Stored]:
    """The readings of [start, end), in the order in which the engine took them: its times never run back."""
    span = (start_unix_s, end_unix_s)
    return heapq.merge(
        *(_kind_between(connection, kind, terminal, span) for kind in KINDS), key=attrgetter("seq")
    )


def _kind_between(
    connection: Connection, kind: str, terminal: str, span: tuple[float, float]
) -> Iterator[Stored]:
    names = ("seq", "extra", *own_fields(kind), "unix_s", "sent_unix_s")
    packed = (row for piece in pieces_between(connection, terminal, kind, *span) for row in piece.rows(names))
    columns = ", ".join(f'"{name}"' for name in names)
    rows = connection.execute(
        f'SELECT {columns} FROM "{kind}" WHERE terminal = ? AND unix_s >= ? AND unix_s < ?'
        " ORDER BY unix_s, seq",
        (terminal, *span),
    )
    for number, extra, *values in chain(packed, rows):
        known = dict(zip(names[2:], values, strict=True))
        if span[0] <= known["unix_s"] < span[1]:
            yield Stored(number, kind, _reading(kind, known, extra))


def has_note(connection: Connection, terminal: str, name: str) -> bool:
    """Whether a note of this id was ever stored."""
    notes = (one.reading for one in _kind_after(connection, "note", terminal, 0))
    return any(isinstance(note, Note) and note.kind != UNDO and note.id == name for note in notes)


def _kind_after(connection: Connection, kind: str, terminal: str, seq: int) -> Iterator[Stored]:
    names = (*own_fields(kind), "unix_s", "sent_unix_s")
    columns = ", ".join(f'"{name}"' for name in names)
    packed = (
        row
        for piece in pieces_after(connection, terminal, kind, seq)
        for row in piece.rows(("seq", "extra", *names))
    )
    # The plus keeps SQLite from looking all readings of the terminal up by time and sorting them.
    rows = connection.execute(
        f'SELECT seq, extra, {columns} FROM "{kind}" WHERE seq > ? AND +terminal = ? ORDER BY seq',
        (seq, terminal),
    )
    for number, extra, *values in chain(packed, rows):
        if number > seq:
            yield Stored(number, kind, _reading(kind, dict(zip(names, values, strict=True)), extra))


def _reading(kind: str, known: dict[str, Any], extra: str | None) -> AnyReading:
    for name in _truth_fields(kind):
        known[name] = None if known[name] is None else bool(known[name])
    return KINDS[kind](**known, extra=json.loads(extra) if extra else {})


@cache
def _truth_fields(kind: str) -> tuple[str, ...]:
    return tuple(name for name, plain in own_fields(kind).items() if plain is bool)


def events(connection: Connection, terminal: str) -> list[AlertEvent]:
    """All alert events of a terminal, in the order in which they were stored."""
    return [event for _, event in events_after(connection, terminal, 0)]


def events_after(connection: Connection, terminal: str, number: int) -> Iterator[tuple[int, AlertEvent]]:
    """The alert events stored after the one of this number, each with its own."""
    rows = connection.execute(
        "SELECT id, unix_s, rule, severity, state, cause, action, evidence, figures, deadline_unix_s,"
        " confidence, said FROM alert_event WHERE terminal = ? AND id > ? ORDER BY id",
        (terminal, number),
    )
    return ((number, _event(*row)) for number, *row in rows)


def _event(*row: str | float | None) -> AlertEvent:
    unix_s, rule, severity, state, cause, action, evidence, figures, deadline_unix_s, confidence, said = row
    return _EVENT.validate_python(
        {
            "unix_s": unix_s,
            "rule": rule,
            "severity": severity,
            "state": state,
            "cause": cause,
            "action": action,
            "evidence": json.loads(str(evidence)),
            "figures": json.loads(str(figures)),
            "deadline_unix_s": deadline_unix_s,
            "confidence": confidence,
            "said": {} if said is None else json.loads(str(said)),
        }
    )


def forwarded(connection: Connection, terminal: str) -> str | None:
    """How far the terminal's store was forwarded, as it was saved; None where it never was."""
    row = connection.execute(
        "SELECT body FROM forwarded WHERE terminal = ? ORDER BY base DESC LIMIT 1", (terminal,)
    ).fetchone()
    return None if row is None else str(row[0])


def snapshot(connection: Connection, terminal: str) -> Snapshot | None:
    """The engine's stored state, None where there is none; raises ValueError where it was damaged."""
    row = connection.execute(
        "SELECT seq, unix_s, digest, body FROM engine_snapshot WHERE terminal = ?", (terminal,)
    ).fetchone()
    # The standard parser reads the NaN and Infinity that the engine's state may hold.
    return None if row is None else Snapshot(row[0], row[1], unsealed(row[2], row[3]), json.loads(row[3]))


def latest_unix_s(connection: Connection, terminal: str) -> float | None:
    """The engine's time when the store was last written: of the last reading, decision or snapshot."""
    times = [
        connection.execute(f'SELECT max(unix_s) FROM "{table}" WHERE terminal = ?', (terminal,)).fetchone()[0]
        for table in (*KINDS, "situation", "engine_snapshot")
    ]
    return max((one for one in times if one is not None), default=None)


def clock_offset_s(connection: Connection, terminal: str, until_seq: int = 2**62) -> float:
    """The computer's clock less the engine's, as of the last change, or as of a reading."""
    row = connection.execute(
        "SELECT offset_s FROM clock WHERE terminal = ? AND seq <= ? ORDER BY seq DESC LIMIT 1",
        (terminal, until_seq),
    ).fetchone()
    return 0.0 if row is None else float(row[0])


def readings_between(
    connection: Connection, terminal: str, start_unix_s: float, end_unix_s: float
) -> list[AnyReading]:
    """The readings from a moment to before another, in their order, for an engine that starts there.

    Where its clock was not the computer's then, a change of the clock tells it so first.
    """
    found = [one.reading for one in stored_between(connection, terminal, start_unix_s, end_unix_s)]
    before = last_seq_before(connection, terminal, start_unix_s)
    offset_s = clock_offset_s(connection, terminal, before)
    if offset_s == 0.0 or not found:
        return found
    unix_s = nextafter(start_unix_s, -inf)
    return [ClockChange(unix_s=unix_s, stepped_s=0.0, offset_s=offset_s, restarted=True), *found]


def shown_times(connection: Connection, terminal: str) -> ShownTimes:
    """How people know the times of a terminal's readings and events."""
    changes = (one.reading for one in _kind_after(connection, "clock", terminal, 0))
    return ShownTimes(one for one in changes if isinstance(one, ClockChange))


def last_seq_before(connection: Connection, terminal: str, unix_s: float) -> int:
    """The last reading with an earlier time, 0 where there is none."""
    return max(_kind_before(connection, terminal, kind, unix_s) for kind in KINDS)


def _kind_before(connection: Connection, terminal: str, kind: str, unix_s: float) -> int:
    # Stamps never run back, so that the last by time is the last by number.
    row = connection.execute(
        f'SELECT seq FROM "{kind}" WHERE terminal = ? AND unix_s < ? ORDER BY unix_s DESC, seq DESC LIMIT 1',
        (terminal, unix_s),
    ).fetchone()
    if row is not None:
        return int(row[0])
    earlier = connection.execute(
        "SELECT max(last_seq) FROM packed WHERE terminal = ? AND kind = ? AND last_unix_s < ?",
        (terminal, kind, unix_s),
    ).fetchone()[0]
    within = [
        number
        for piece in pieces_between(connection, terminal, kind, unix_s, unix_s)
        for number, moment in piece.rows(("seq", "unix_s"))
        if moment < unix_s
    ]
    return int(max([*within, 0 if earlier is None else earlier]))


def situations(connection: Connection) -> list[StoredSituation]:
    """The latest situation of every terminal, the one written last first."""
    rows = connection.execute(
        "SELECT terminal, body, written_wall_unix_s FROM situation"
        " ORDER BY written_wall_unix_s DESC, terminal"
    )
    return [
        StoredSituation(terminal, SITUATION.validate_json(body), written) for terminal, body, written in rows
    ]


def input_states(connection: Connection, terminal: str) -> tuple[InputState, ...]:
    """What the agent hears wrong, and how its own inputs and the ways out of alerts fare."""
    found = connection.execute("SELECT body FROM input_state WHERE terminal = ?", (terminal,)).fetchone()
    return () if found is None else _INPUT_STATES.validate_json(found[0])


def input_ages(connection: Connection, terminal: str) -> list[InputAge]:
    """Every input that was ever heard and when last, the one silent for longest first.

    Where its last reading is packed or gone, to the minute.
    """
    ages: dict[tuple[str, str], float] = {}
    for kind in KINDS:
        for place in _places(connection, terminal, kind):
            ages[kind, place] = max(
                _last_minute(connection, terminal, kind, place, field) for field in numeric_fields(kind)
            )
        ages |= _live_ages(connection, terminal, kind)
    return sorted((InputAge(*key, unix_s) for key, unix_s in ages.items()), key=attrgetter("unix_s"))


def _live_ages(connection: Connection, terminal: str, kind: str) -> dict[tuple[str, str], float]:
    place, group = ('"where"', ' GROUP BY "where"') if kind == "temperature" else ("''", "")
    rows = connection.execute(
        f'SELECT {place}, max(unix_s) FROM "{kind}" WHERE terminal = ?{group}', (terminal,)
    )
    return {(kind, name): unix_s for name, unix_s in rows if unix_s is not None}


def _places(connection: Connection, terminal: str, kind: str) -> Iterator[str]:
    """From one place to the next in the key, without the minutes between."""
    place: str | None = ""
    while place is not None:
        found = connection.execute(
            "SELECT min(place) FROM minute WHERE terminal = ? AND kind = ? AND place >= ?",
            (terminal, kind, place),
        ).fetchone()[0]
        if found is None:
            return
        yield found
        place = f"{found}\0"


def _last_minute(connection: Connection, *key: str) -> float:
    (found,) = connection.execute(
        "SELECT max(minute_unix_s) FROM minute WHERE terminal = ? AND kind = ? AND place = ? AND field = ?",
        key,
    ).fetchone()
    return -inf if found is None else float(found)
