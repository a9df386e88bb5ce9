"""Every question the pages ask the store. Read-only: the agent is the only writer.

One connection a request. Answers are records; no SQL and no rows of the database leave this module. Times are
those that people know, also where the computer's clock was set meanwhile.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping
from dataclasses import astuple, dataclass, fields
from functools import lru_cache
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray
from pydantic import AwareDatetime, TypeAdapter, ValidationError

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_from_json
from agent.records import KINDS, UNDO, ActiveAlert, AlertEvent, NoteKind, Situation
from agent.store.ageing import pieces_between
from agent.store.desk.questions import minutes_sql
from agent.store.place import open_place
from agent.store.questions import Connection
from agent.store.reader import shown_times
from agent.store.rollups import MINUTES_SQL
from agent.store.shown import ShownTimes, Stretch, shown_event
from agent.wording import Codes

_SITUATION = TypeAdapter(Situation)
_FIGURES = TypeAdapter(dict[str, float])
_CODES = TypeAdapter(Codes)
_EVIDENCE = TypeAdapter(tuple[str, ...])
_JOB = TypeAdapter(Job)


@dataclass(frozen=True, slots=True, kw_only=True)
class CurrentSituation:
    """The engine's latest answer, and when the agent wrote it by the computer's own clock."""

    terminal: str
    situation: Situation
    written_wall_unix_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class TerminalRow:
    """A terminal with its job, None as long as no plan is stored."""

    current: CurrentSituation
    job: Job | None


@dataclass(frozen=True, slots=True, kw_only=True)
class History:
    """Figures of the situation at each minute; NaN where a figure was not known."""

    unix_s: NDArray[np.float64]
    figures: Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Channel:
    """One measured field; `place` is a thermometer's, empty for other kinds."""

    kind: str
    field: str
    place: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """What was measured: single readings (then low, middle and high are the same), or spans of minutes."""

    unix_s: NDArray[np.float64]
    middle: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class LateNote:
    """A note for an earlier time: when it was, what it is about, and the number of the note it corrects.

    It travels as a remark, since the watch decides from the moment at which it is told.
    """

    at: AwareDatetime | None = None
    about: NoteKind | None = None
    replaces: int | None = None


_LATE = TypeAdapter(LateNote)
NOTE = (
    "note.*, EXISTS (SELECT 1 FROM note AS undo WHERE undo.terminal = note.terminal"
    f" AND undo.kind = '{UNDO}' AND undo.id = note.id) AS taken_back"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """One note at the time it speaks of; `told_unix_s`: when it came in; `replaces`: what it corrects.

    By `id` it can be taken back.
    """

    seq: int
    unix_s: float
    told_unix_s: float
    kind: NoteKind
    where: str | None
    text: str | None
    by: str | None
    replaces: int | None = None
    id: str | None = None
    taken_back: bool = False


open_store = open_place


def terminals(connection: Connection) -> tuple[TerminalRow, ...]:
    """Every terminal that has a situation, by name."""
    rows = connection.execute(
        "SELECT situation.*, plan.job FROM situation LEFT JOIN plan USING (terminal) ORDER BY terminal"
    )
    return tuple(
        TerminalRow(current=_current(row), job=None if row["job"] is None else _job(row["job"]))
        for row in rows
    )


def current(connection: Connection, terminal: str) -> CurrentSituation | None:
    """The latest situation of one terminal, None before its first."""
    row = connection.execute("SELECT * FROM situation WHERE terminal = ?", (terminal,)).fetchone()
    return None if row is None else _current(row)


def newest_terminal(connection: Connection) -> str | None:
    """The terminal whose situation was written last."""
    row = connection.execute(
        "SELECT terminal FROM situation ORDER BY written_wall_unix_s DESC, terminal LIMIT 1"
    ).fetchone()
    return None if row is None else str(row["terminal"])


def known_terminals(connection: Connection) -> tuple[str, ...]:
    """Every terminal that has a plan or a situation, by name."""
    rows = connection.execute("SELECT terminal FROM plan UNION SELECT terminal FROM situation ORDER BY 1")
    return tuple(row["terminal"] for row in rows)


def seen_by(connection: Connection, terminal: str, alerts: tuple[ActiveAlert, ...]) -> Mapping[str, str]:
    """Who acknowledged each of the standing alerts, by its rule; absent where it was not said."""
    since_unix_s = min((alert.since_unix_s for alert in alerts), default=0.0)
    rows = connection.execute(
        'SELECT rule, "by" FROM acknowledge WHERE terminal = ? AND unix_s >= ? AND "by" IS NOT NULL'
        " ORDER BY unix_s, seq",
        (terminal, shown_times(connection, terminal).engine(since_unix_s)),
    )
    return {row["rule"]: row["by"] for row in rows} if alerts else {}


def job(connection: Connection, terminal: str) -> Job | None:
    """The job that the terminal's plan was made for."""
    row = connection.execute("SELECT job FROM plan WHERE terminal = ?", (terminal,)).fetchone()
    return None if row is None else _job(row["job"])


def plan(connection: Connection, terminal: str) -> LinkPlan | None:
    """The link plan of one terminal."""
    row = connection.execute("SELECT body FROM plan WHERE terminal = ?", (terminal,)).fetchone()
    return None if row is None else plan_from_json(json.loads(row["body"]))


def history(
    connection: Connection,
    terminal: str,
    start_unix_s: float,
    end_unix_s: float,
    every: int = 1,
) -> History:
    """The figures of every `every`th minute in [start, end]."""
    rows = [
        row
        for part in shown_times(connection, terminal).within(start_unix_s, end_unix_s)
        for row in connection.execute(
            "SELECT unix_s + ? AS unix_s, body FROM situation_minute WHERE terminal = ?"
            " AND unix_s BETWEEN ? AND ? AND CAST(unix_s / 60 AS INTEGER) % ? = 0 ORDER BY unix_s",
            (part.offset_s, terminal, part.start_unix_s, part.end_unix_s, every),
        )
    ]
    bodies = [_FIGURES.validate_json(row["body"]) for row in rows]
    keys = sorted({key for body in bodies for key in body})
    return History(
        unix_s=np.array([row["unix_s"] for row in rows], dtype=np.float64),
        figures={key: np.array([body.get(key, np.nan) for body in bodies]) for key in keys},
    )


def readings(
    connection: Connection, terminal: str, channel: Channel, start_unix_s: float, end_unix_s: float
) -> Series:
    """Every reading of the channel in [start, end]."""
    check_channel(channel)
    found = [
        (unix_s + part.offset_s, value)
        for part in shown_times(connection, terminal).within(start_unix_s, end_unix_s)
        for unix_s, value in _readings(connection, terminal, channel, part)
    ]
    unix_s, values = np.ascontiguousarray(np.array(found, dtype=np.float64).reshape(-1, 2).T)
    return Series(unix_s=unix_s, middle=values, low=values, high=values)


def _readings(
    connection: Connection, terminal: str, channel: Channel, part: Stretch
) -> Iterator[tuple[float, float]]:
    place = ("", ()) if not channel.place else (' AND "where" = ?', (channel.place,))
    rows = connection.execute(
        f'SELECT unix_s, "{channel.field}" AS value FROM "{channel.kind}"'
        f' WHERE terminal = ? AND unix_s BETWEEN ? AND ? AND "{channel.field}" IS NOT NULL{place[0]}'
        " ORDER BY unix_s",
        (terminal, part.start_unix_s, part.end_unix_s, *place[1]),
    )
    yield from _packed(connection, terminal, channel, part)
    yield from map(tuple, rows)


def _packed(
    connection: Connection, terminal: str, channel: Channel, part: Stretch
) -> Iterator[tuple[float, float]]:
    """Of a day ago and longer."""
    place = "where" if channel.place else "extra"
    for piece in pieces_between(connection, terminal, channel.kind, part.start_unix_s, part.end_unix_s):
        for unix_s, value, where in piece.rows(("unix_s", channel.field, place)):
            here = not channel.place or where == channel.place
            if here and value is not None and part.start_unix_s <= unix_s <= part.end_unix_s:
                yield unix_s, value


def minutes(
    connection: Connection,
    terminal: str,
    channel: Channel,
    span_unix_s: tuple[float, float],
    step_s: float,
) -> Series:
    """Mean, lowest and highest of the channel in spans of `step_s` (whole minutes), from the roll-ups.

    A mean of dB values is the mean of the readings as shown, not that of the power behind them.
    """
    own = isinstance(connection, sqlite3.Connection)
    sql = MINUTES_SQL if own else minutes_sql(channel.kind, channel.field)
    rows = [
        row
        for part in shown_times(connection, terminal).within(*span_unix_s)
        for row in connection.execute(
            sql,
            {
                "step": step_s,
                "offset": part.offset_s,
                "terminal": terminal,
                "kind": channel.kind,
                "place": channel.place,
                "field": channel.field,
                "start": part.start_unix_s,
                "end": part.end_unix_s,
            },
        )
    ]
    table = np.array([tuple(row) for row in rows], dtype=np.float64).reshape(-1, 4)
    return Series(unix_s=table[:, 0] + step_s / 2.0, middle=table[:, 1], low=table[:, 2], high=table[:, 3])


def events(
    connection: Connection, terminal: str, start_unix_s: float, end_unix_s: float
) -> tuple[AlertEvent, ...]:
    """The alert events in [start, end], oldest first, after the last one of each that stood at its start."""
    times = shown_times(connection, terminal)
    rows = [
        row
        for number, (start, end, _offset_s) in enumerate(map(astuple, times.within(start_unix_s, end_unix_s)))
        for row in connection.execute(
            "SELECT * FROM alert_event AS one WHERE terminal = ? AND (unix_s BETWEEN ? AND ? OR ? = 0"
            " AND unix_s < ? AND state != 'cleared' AND NOT EXISTS (SELECT 1 FROM alert_event AS later"
            " WHERE later.terminal = one.terminal AND later.rule = one.rule AND later.unix_s > one.unix_s"
            " AND later.unix_s < ?)) ORDER BY unix_s, id",
            (terminal, start, end, number, start, start),
        )
    ]
    return tuple(shown_event(_event(row), times.offset_s(row["unix_s"])) for row in rows)


def latest_notes(connection: Connection, terminal: str, count: int) -> tuple[NoteRow, ...]:
    """What the crew told last, newest first."""
    rows = connection.execute(
        f"SELECT {NOTE} FROM note WHERE terminal = ? AND kind != ? ORDER BY unix_s DESC, seq DESC LIMIT ?",
        (terminal, UNDO, count),
    )
    times = shown_times(connection, terminal)
    return tuple(_note(row, times) for row in rows)


def notes(
    connection: Connection, terminal: str, start_unix_s: float, end_unix_s: float
) -> tuple[NoteRow, ...]:
    """The crew's notes of [start, end], oldest first; those told later are in, those corrected are out."""
    times = shown_times(connection, terminal)
    parts = list(times.within(start_unix_s, end_unix_s))
    first_unix_s = min((one.start_unix_s for one in parts), default=np.inf)
    last_unix_s = max((one.end_unix_s for one in parts), default=-np.inf)
    rows = connection.execute(
        f"SELECT {NOTE} FROM note WHERE terminal = ? AND kind != ?"
        " AND (unix_s BETWEEN ? AND ? OR extra IS NOT NULL)",
        (terminal, UNDO, first_unix_s, last_unix_s),
    )
    found = [_note(row, times) for row in rows]
    corrected = {note.replaces for note in found}
    inside = [
        note for note in found if note.seq not in corrected and start_unix_s <= note.unix_s <= end_unix_s
    ]
    return tuple(sorted(inside, key=lambda note: (note.unix_s, note.seq)))


def note(connection: Connection, terminal: str, seq: int) -> NoteRow | None:
    """One note of the terminal."""
    row = connection.execute(
        f"SELECT {NOTE} FROM note WHERE terminal = ? AND seq = ?", (terminal, seq)
    ).fetchone()
    return None if row is None else _note(row, shown_times(connection, terminal))


def check_channel(channel: Channel) -> None:
    """Raises ValueError where its kind has no such field."""
    known = {field.name for field in fields(KINDS[channel.kind])}
    if channel.field not in known:
        raise ValueError(f"no field {channel.field!r} in {channel.kind!r} readings, only {sorted(known)}")


# Of a thousand terminals most say the same as when they were last asked for.
_situation = lru_cache(4096)(_SITUATION.validate_json)
_job = lru_cache(4096)(_JOB.validate_json)


def _current(row: Any) -> CurrentSituation:
    return CurrentSituation(
        terminal=row["terminal"],
        situation=_situation(row["body"]),
        written_wall_unix_s=row["written_wall_unix_s"],
    )


def _event(row: Any) -> AlertEvent:
    return AlertEvent(
        unix_s=row["unix_s"],
        rule=row["rule"],
        severity=row["severity"],
        state=row["state"],
        cause=row["cause"],
        action=row["action"],
        evidence=_EVIDENCE.validate_json(row["evidence"]),
        figures=_FIGURES.validate_json(row["figures"]),
        deadline_unix_s=row["deadline_unix_s"],
        confidence=row["confidence"],
        said={} if row["said"] is None else _CODES.validate_json(row["said"]),
    )


def _note(row: Any, times: ShownTimes) -> NoteRow:
    late, told_unix_s = _late(row["extra"]), times.shown(row["unix_s"])
    return NoteRow(
        seq=row["seq"],
        unix_s=told_unix_s if late.at is None else late.at.timestamp(),
        told_unix_s=told_unix_s,
        kind=late.about or cast(NoteKind, row["kind"]),
        where=row["where"],
        text=row["text"],
        by=row["by"],
        replaces=late.replaces,
        id=row["id"],
        taken_back=bool(row["taken_back"]),
    )


def _late(extra: str | None) -> LateNote:
    """What a note says beyond its own fields; other programs may have put anything there."""
    try:
        return LateNote() if extra is None else _LATE.validate_json(extra, strict=True)
    except ValidationError:
        return LateNote()
