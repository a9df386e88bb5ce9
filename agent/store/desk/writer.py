"""Takes batches into the desk's store. Each call is one transaction; what came before changes nothing."""

import json
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import psycopg
from pydantic import TypeAdapter

from agent.forward.batch import Batch, Row
from agent.inputs.messages import kind_of
from agent.records import KINDS, Situation
from agent.store.desk.schema import ENDS, KEY, add_month, measured, migrate, month_of
from agent.store.schema import own_fields
from agent.store.writer import KEEP_PAYLOAD_BYTES, KEEP_REJECTED, Refusal
from agent.wording import Codes

YEAR_S = 366 * 86_400.0
# A terminal whose clock was never set must not make partitions without end.
OLDEST_S, NEWEST_S = 10 * YEAR_S, YEAR_S

_SITUATION = TypeAdapter(Situation)
_CODES = TypeAdapter(Codes)
_SHARED = (*KEY, "received_unix_s", "sent_unix_s", "extra", "n")
_EVENT = (
    "INSERT INTO alert_event (terminal, unix_s, rule, severity, state, cause, action, evidence, figures,"
    " deadline_unix_s, confidence, said) VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)"
    " ON CONFLICT DO NOTHING"
)
_MINUTE = "INSERT INTO situation_minute VALUES (%s, %s, %s) ON CONFLICT DO NOTHING"
# Of a terminal's batches one that comes late must not put an older state in the place of a newer one.
_SITUATION_ROW = (
    "INSERT INTO situation VALUES (%s, %s, %s, %s, %s) ON CONFLICT (terminal) DO UPDATE SET"
    " unix_s = EXCLUDED.unix_s, written_wall_unix_s = EXCLUDED.written_wall_unix_s, body = EXCLUDED.body,"
    " seq = EXCLUDED.seq WHERE (situation.seq, situation.unix_s) <= (EXCLUDED.seq, EXCLUDED.unix_s)"
)
_PLAN_ROW = (
    "INSERT INTO plan VALUES (%s, %s, %s, %s, %s) ON CONFLICT (terminal) DO UPDATE SET"
    " digest = EXCLUDED.digest, job = EXCLUDED.job, body = EXCLUDED.body, seq = EXCLUDED.seq"
    " WHERE plan.seq <= EXCLUDED.seq"
)
_INPUT_ROW = (
    "INSERT INTO input_state VALUES (%s, %s, %s) ON CONFLICT (terminal) DO UPDATE SET body = EXCLUDED.body,"
    " seq = EXCLUDED.seq WHERE input_state.seq <= EXCLUDED.seq"
)

Plain = psycopg.Connection[tuple[object, ...]]


class FarTimeError(ValueError):
    """A time so far from the desk's clock that it must be wrong; the text says which."""


@dataclass(frozen=True, slots=True)
class _Kind:
    """How rows of one kind go in: by COPY to a table of the connection's own, from there to their place."""

    prepare: bytes
    copy: bytes
    merge: bytes


class DeskWriter:
    """One connection of one worker."""

    def __init__(self, connection: Plain) -> None:
        """`connection` is in autocommit mode. Brings the tables up to date."""
        self._connection = connection
        self._months: set[tuple[int, int]] = set()
        migrate(connection)
        for kind in KINDS:
            connection.execute(_statements(kind).prepare)

    def ingest(self, batches: Sequence[Batch]) -> None:
        """Store the batches; on return they are on the disk. Raises FarTimeError, psycopg.Error."""
        now_unix_s = time.time()
        self._ensure_months(batches, now_unix_s)
        with self._connection.transaction():
            rows: dict[str, list[tuple[object, ...]]] = {}
            for batch in batches:
                for row in batch.rows:
                    kind = kind_of(row.reading)
                    rows.setdefault(kind, []).append(reading_row(batch.terminal, kind, row, now_unix_s))
            for kind in sorted(rows):
                self._copy(_statements(kind), rows[kind])
            self._add(_EVENT, (one for batch in batches for one in _events(batch)))
            self._add(_MINUTE, (one for batch in batches for one in _minutes(batch)))
            self._add(_SITUATION_ROW, (one for batch in batches for one in _situation(batch, now_unix_s)))
            self._add(_PLAN_ROW, (one for batch in batches for one in _plan(batch)))
            self._add(
                _INPUT_ROW,
                ((one.terminal, one.inputs, one.seq) for one in batches if one.inputs is not None),
            )

    def reject(self, refusals: Sequence[Refusal]) -> None:
        """Keep what was refused, with its reason; the latest of it."""
        with self._connection.transaction():
            self._add(
                "INSERT INTO rejected (received_unix_s, topic, payload, reason) VALUES (%s, %s, %s, %s)",
                (
                    (one.received_unix_s, one.topic, one.payload[:KEEP_PAYLOAD_BYTES], one.reason)
                    for one in refusals
                ),
            )
            self._connection.execute(
                "DELETE FROM rejected WHERE id <= (SELECT max(id) FROM rejected) - %s", (KEEP_REJECTED,)
            )

    def terminals(self) -> list[str]:
        """Every terminal that has been heard."""
        return [str(name) for (name,) in self._connection.execute("SELECT terminal FROM situation")]

    def _ensure_months(self, batches: Sequence[Batch], now_unix_s: float) -> None:
        times = [one.unix_s for batch in batches for one in batch.events]
        times += [one.unix_s for batch in batches for one in batch.minutes]
        times += [row.reading.unix_s for batch in batches for row in batch.rows]
        times += [one.situation.unix_s for one in batches if one.situation is not None]
        for unix_s in times:
            if not now_unix_s - OLDEST_S < unix_s < now_unix_s + NEWEST_S:
                raise FarTimeError(
                    f"holds the time {unix_s:.0f} (Unix seconds); the desk's is {now_unix_s:.0f}"
                )
        for month in sorted({month_of(unix_s) for unix_s in times} - self._months):
            add_month(self._connection, month)
            self._months.add(month)

    def _copy(self, statements: _Kind, rows: Iterable[tuple[object, ...]]) -> None:
        with self._connection.cursor() as cursor:
            with cursor.copy(statements.copy) as copy:
                for row in rows:
                    copy.write_row(row)
            cursor.execute(statements.merge)

    def _add(self, statement: str, rows: Iterable[tuple[object, ...]]) -> None:
        found = [tuple(map(_text, row)) for row in rows]
        if found:
            with self._connection.cursor() as cursor:
                cursor.executemany(statement.encode(), found)


@cache
def columns_of(kind: str) -> tuple[str, ...]:
    """The columns of a kind's table in the order of `reading_row`."""
    return (*_SHARED, *own_fields(kind), *(f"{name}_{end}" for name in measured(kind) for end in ENDS))


@cache
def _statements(kind: str) -> _Kind:
    names = columns_of(kind)
    columns = ", ".join(f'"{name}"' for name in names)
    changes = ", ".join(f'"{name}" = EXCLUDED."{name}"' for name in names if name not in KEY)
    key = ", ".join(KEY)
    # A single reading takes the place of the minute that ended with it, never the other way round.
    merge = (
        f'INSERT INTO "{kind}" ({columns}) SELECT DISTINCT ON ({key}) {columns} FROM "incoming_{kind}"'
        f' ORDER BY {key}, n ON CONFLICT ({key}) DO UPDATE SET {changes} WHERE "{kind}".n > EXCLUDED.n'
    )
    prepare = f'CREATE TEMP TABLE "incoming_{kind}" (LIKE "{kind}") ON COMMIT DELETE ROWS'
    return _Kind(prepare.encode(), f'COPY "incoming_{kind}" ({columns}) FROM STDIN'.encode(), merge.encode())


def reading_row(terminal: str, kind: str, row: Row, received_unix_s: float) -> tuple[object, ...]:
    """A reading as its table has it."""
    reading = row.reading
    extra = json.dumps(dict(reading.extra), ensure_ascii=False) if reading.extra else None
    own = (getattr(reading, name) for name in own_fields(kind))
    ends = (side.get(name) for name in measured(kind) for side in (row.low, row.high))
    shared = (terminal, reading.unix_s, row.seq, received_unix_s, reading.sent_unix_s, extra, row.n)
    return tuple(map(_text, (*shared, *own, *ends)))


def _text(value: object) -> object:
    """PostgreSQL has no character 0 in a text, and stores a truth value as a number here."""
    if isinstance(value, str):
        return value.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return int(value) if isinstance(value, bool) else value


def _events(batch: Batch) -> Iterable[tuple[object, ...]]:
    return (
        (
            batch.terminal,
            one.unix_s,
            one.rule,
            one.severity,
            one.state,
            one.cause,
            one.action,
            json.dumps(one.evidence, ensure_ascii=False),
            json.dumps(dict(one.figures)),
            one.deadline_unix_s,
            one.confidence,
            _CODES.dump_json(one.said).decode(),
        )
        for one in batch.events
    )


def _minutes(batch: Batch) -> Iterable[tuple[object, ...]]:
    return ((batch.terminal, one.unix_s, json.dumps(dict(one.figures))) for one in batch.minutes)


def _situation(batch: Batch, now_unix_s: float) -> Iterable[tuple[object, ...]]:
    if batch.situation is not None:
        body = _SITUATION.dump_json(batch.situation).decode()
        yield batch.terminal, batch.situation.unix_s, now_unix_s, body, batch.seq


def _plan(batch: Batch) -> Iterable[tuple[object, ...]]:
    if batch.plan is not None:
        yield batch.terminal, batch.plan.digest, batch.plan.job, batch.plan.body, batch.seq
