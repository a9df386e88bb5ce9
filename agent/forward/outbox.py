"""What a store holds that the desk lacks: cursors over its tables, and the next batch behind them."""

import hashlib
import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import islice

from pydantic import TypeAdapter

from agent.forward.batch import Batch, Minute, PlanText, Row, receipt
from agent.forward.thinning import minute_of, thinned
from agent.records import KINDS, AlertEvent, Situation
from agent.store.ageing import AGEING
from agent.store.reader import (
    events_after,
    forwarded,
    last_seq_before,
    latest_unix_s,
    readings_after,
    situations,
)
from agent.store.writer import Stored

# What people said, and the clock's corrections: at once and as they are.
TOLD = tuple(kind for kind in KINDS if kind not in AGEING)
# Of one batch: some 30 kB packed, which the slowest link takes in a quarter of a second.
MOST_ROWS = 1500
# What was there before the terminal was told to forward is sent for the last day alone.
BACK_S = 86_400.0
# The notes that say whether a stream is live.
STREAM_START, STREAM_STOP = "stream-start", "stream-stop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Single readings that the desk wants: from after this number to before this time."""

    after: int
    to_unix_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cursors:
    """How far a store was forwarded: of each part the last number or time that the desk has.

    `base` is added to the store's numbers, so that those of the next store of this terminal are greater.
    `plan`, `inputs`, `situation` and `want` (what the desk last asked for) are digests. `day` (since 1970)
    has cost `day_bytes` so far.
    """

    base: int
    told: int = 0
    thinned: int = 0
    single: int = 0
    events: int = 0
    minutes_unix_s: float = 0.0
    plan: str = ""
    inputs: str = ""
    situation: str = ""
    want: str = ""
    asked: Asked | None = None
    day: int = 0
    day_bytes: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Hours:
    """What the desk asks for: every reading of [from, to)."""

    from_unix_s: float
    to_unix_s: float


_CURSORS = TypeAdapter(Cursors)
_WANT = TypeAdapter(Hours)


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What the budget still allows: `thinned` readings and figures, and `single` readings besides."""

    thinned: bool
    single: bool


@dataclass(frozen=True, slots=True)
class Next:
    """The next batch, and the cursors once the desk has it.

    `due`: it has what is not urgent too; `more`: there is more behind it.
    """

    batch: Batch
    after: Cursors
    due: bool
    more: bool


def saved_cursors(connection: sqlite3.Connection, terminal: str) -> Cursors | None:
    """How far this store was forwarded; None where it never was."""
    text = forwarded(connection, terminal)
    return None if text is None else _CURSORS.validate_json(text)


def cursors_text(cursors: Cursors) -> str:
    """As the store keeps them."""
    return _CURSORS.dump_json(cursors).decode()


def first_cursors(connection: sqlite3.Connection, terminal: str, now_unix_s: float) -> Cursors:
    """For a store that is forwarded from now on, with the day before."""
    start_unix_s = now_unix_s - BACK_S
    seq = last_seq_before(connection, terminal, start_unix_s)
    (event,) = connection.execute(
        "SELECT coalesce(max(id), 0) FROM alert_event WHERE terminal = ? AND unix_s < ?",
        (terminal, start_unix_s),
    ).fetchone()
    return Cursors(
        base=int(now_unix_s * 1000.0),
        told=seq,
        thinned=seq,
        single=seq,
        events=event,
        minutes_unix_s=start_unix_s,
    )


def want_text(hours: Hours) -> bytes:
    """As the desk says it."""
    return _WANT.dump_json(hours)


def asking(connection: sqlite3.Connection, terminal: str, cursors: Cursors, want: bytes) -> Cursors:
    """With the single readings that the desk wants, where it has not asked for the same before.

    Raises ValueError where the message cannot be read.
    """
    hours, digest = _WANT.validate_json(want), receipt(want).decode()
    if digest == cursors.want:
        return cursors
    after = last_seq_before(connection, terminal, hours.from_unix_s)
    return replace(cursors, want=digest, asked=Asked(after=after, to_unix_s=hours.to_unix_s))


def next_batch(
    connection: sqlite3.Connection, terminal: str, cursors: Cursors, due: bool, room: Room
) -> Next | None:
    """What is to be sent now, None where nothing is.

    Alerts, notes, plan and a situation that has changed are sent at once, and with them the rest; the rest
    alone only where it is `due`.
    """
    part = _Part(connection, terminal, cursors)
    told = part.told()
    batch = Batch(terminal=terminal, seq=0, rows=told, events=part.events(), plan=part.plan())
    batch = replace(batch, inputs=part.inputs(), situation=part.situation(due))
    urgent = batch.rows or batch.events or batch.plan or batch.inputs or batch.situation
    if not (urgent or due):
        return None
    if due and room.thinned:
        batch = replace(batch, rows=[*told, *part.thinned()], minutes=part.minutes())
    if due and room.single:
        batch = replace(batch, rows=[*batch.rows, *part.single(MOST_ROWS - len(batch.rows))])
    if not (batch.rows or batch.minutes or urgent):
        return None
    after = part.after
    batch = replace(
        batch,
        seq=after.base + max(after.told, after.thinned, after.single),
        rows=[replace(row, seq=after.base + row.seq) for row in batch.rows],
    )
    return Next(batch, after, due, part.more)


class _Part:
    """Takes the parts out of the store one after the other; `after` moves on with them."""

    def __init__(self, connection: sqlite3.Connection, terminal: str, cursors: Cursors) -> None:
        self._connection = connection
        self._terminal = terminal
        self.after = cursors
        self.more = False

    def told(self) -> list[Row]:
        found = readings_after(self._connection, self._terminal, self.after.told, TOLD)
        rows = [Row(seq=one.seq, reading=one.reading) for one in islice(found, MOST_ROWS)]
        if rows:
            self.after = replace(self.after, told=rows[-1].seq)
        self.more |= len(rows) == MOST_ROWS
        return rows

    def events(self) -> list[AlertEvent]:
        found = list(islice(events_after(self._connection, self._terminal, self.after.events), MOST_ROWS))
        if found:
            self.after = replace(self.after, events=found[-1][0])
        return [event for _, event in found]

    def plan(self) -> PlanText | None:
        row = self._connection.execute(
            "SELECT digest, job, body FROM plan WHERE terminal = ?", (self._terminal,)
        ).fetchone()
        if row is None or _digest(*row) == self.after.plan:
            return None
        self.after = replace(self.after, plan=_digest(*row))
        return PlanText(*row)

    def inputs(self) -> str | None:
        """How the inputs fare, where one began or ceased to work."""
        row = self._connection.execute(
            "SELECT body FROM input_state WHERE terminal = ?", (self._terminal,)
        ).fetchone()
        if row is None:
            return None
        told = _digest(*(f"{one['name']} {one['state']} {one['error']}" for one in json.loads(row[0])))
        if told == self.after.inputs:
            return None
        self.after = replace(self.after, inputs=told)
        return str(row[0])

    def situation(self, due: bool) -> Situation | None:
        """The latest, where it says something else than the one before, or is due."""
        found = [one.situation for one in situations(self._connection) if one.terminal == self._terminal]
        if not found:
            return None
        (latest,) = found
        alerts = (f"{one.event.rule} {one.event.severity} {one.acknowledged}" for one in latest.alerts)
        told = _digest(latest.level, latest.cause, *alerts)
        if told == self.after.situation and not due:
            return None
        self.after = replace(self.after, situation=told)
        return latest

    def thinned(self) -> list[Row]:
        """The minutes that have ended: the engine's time never runs back."""
        latest = latest_unix_s(self._connection, self._terminal)
        if latest is None:
            return []
        found = readings_after(self._connection, self._terminal, self.after.thinned, AGEING)
        rows: list[Row] = []
        for minute in thinned(found, minute_of(latest)):
            rows += minute
            if len(rows) >= MOST_ROWS:
                self.more = True
                break
        if rows:
            self.after = replace(self.after, thinned=max(row.seq for row in rows))
        return rows

    def minutes(self) -> list[Minute]:
        rows = self._connection.execute(
            "SELECT unix_s, body FROM situation_minute WHERE terminal = ? AND unix_s > ? ORDER BY unix_s"
            " LIMIT ?",
            (self._terminal, self.after.minutes_unix_s, MOST_ROWS),
        ).fetchall()
        if rows:
            self.after = replace(self.after, minutes_unix_s=rows[-1][0])
        self.more |= len(rows) == MOST_ROWS
        return [Minute(unix_s, json.loads(body)) for unix_s, body in rows]

    def single(self, most: int) -> list[Row]:
        """Of the hours that the desk has asked for, then those since the stream has ended."""
        rows = self._asked(most) if most > 0 else []
        if self.after.asked is None and self._stream_has_ended():
            found = readings_after(self._connection, self._terminal, self.after.single, AGEING)
            rows += self._rows(found, most - len(rows))
            self.after = replace(self.after, single=max([self.after.single, *(row.seq for row in rows)]))
        elif self.after.asked is None:
            self.after = replace(self.after, single=max(self.after.single, self.after.thinned))
        return rows

    def _asked(self, most: int) -> list[Row]:
        if self.after.asked is None:
            return []
        end_unix_s = self.after.asked.to_unix_s
        found = readings_after(self._connection, self._terminal, self.after.asked.after, AGEING)
        rows = self._rows(found, most)
        kept = [row for row in rows if row.reading.unix_s < end_unix_s]
        ended = len(kept) < len(rows) or len(rows) < most
        rest = None if ended else replace(self.after.asked, after=kept[-1].seq)
        self.after = replace(self.after, asked=rest)
        self.more = True
        return kept

    def _rows(self, found: Iterable[Stored], most: int) -> list[Row]:
        rows = [Row(seq=one.seq, reading=one.reading) for one in islice(found, max(0, most))]
        self.more |= len(rows) == most
        return rows

    def _stream_has_ended(self) -> bool:
        row = self._connection.execute(
            "SELECT kind FROM note WHERE terminal = ? AND kind IN (?, ?) ORDER BY seq DESC LIMIT 1",
            (self._terminal, STREAM_START, STREAM_STOP),
        ).fetchone()
        return row is not None and row[0] == STREAM_STOP


def _digest(*texts: str) -> str:
    return hashlib.blake2b("\n".join(texts).encode(), digest_size=16).hexdigest()
