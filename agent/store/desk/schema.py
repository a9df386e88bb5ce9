"""Tables of the desk's store, partitioned by month, and how an earlier version's are brought up to date.

They have the names and columns of the terminals' own store, so that the same questions can be asked. A
reading has `n` besides: one, or so many of a minute, of which `_low` and `_high` are the least and greatest.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache

import psycopg

from agent.records import KINDS
from agent.store.schema import own_fields

# Of this program's own, for what only one worker may do at a time.
LOCK = 0x7065616B
KEY = ("terminal", "unix_s", "seq")
ENDS = ("low", "high")

_TABLES = """
CREATE SEQUENCE alert_number;
CREATE TABLE alert_event (
    id BIGINT NOT NULL DEFAULT nextval('alert_number'), terminal TEXT NOT NULL,
    unix_s DOUBLE PRECISION NOT NULL, rule TEXT NOT NULL, severity TEXT NOT NULL, state TEXT NOT NULL,
    cause TEXT NOT NULL, action TEXT NOT NULL, evidence TEXT NOT NULL, figures TEXT NOT NULL,
    deadline_unix_s DOUBLE PRECISION, confidence DOUBLE PRECISION, said TEXT,
    PRIMARY KEY (terminal, unix_s, rule, state)
) PARTITION BY RANGE (unix_s);
CREATE TABLE situation_minute (
    terminal TEXT NOT NULL, unix_s DOUBLE PRECISION NOT NULL, body TEXT NOT NULL,
    PRIMARY KEY (terminal, unix_s)
) PARTITION BY RANGE (unix_s);
CREATE TABLE situation (
    terminal TEXT PRIMARY KEY, unix_s DOUBLE PRECISION NOT NULL,
    written_wall_unix_s DOUBLE PRECISION NOT NULL, body TEXT NOT NULL, seq BIGINT NOT NULL
);
CREATE TABLE plan (
    terminal TEXT PRIMARY KEY, digest TEXT NOT NULL, job TEXT NOT NULL, body TEXT NOT NULL,
    seq BIGINT NOT NULL
);
CREATE TABLE input_state (terminal TEXT PRIMARY KEY, body TEXT NOT NULL, seq BIGINT NOT NULL);
CREATE TABLE rejected (
    id BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY, received_unix_s DOUBLE PRECISION NOT NULL,
    topic TEXT NOT NULL, payload BYTEA NOT NULL, reason TEXT NOT NULL
)
"""
# What only a terminal's own store has: empty, so that questions that look there too find nothing.
_EMPTY = """
CREATE VIEW packed AS SELECT 0::bigint AS id, ''::text AS terminal, ''::text AS kind, 0::bigint AS first_seq,
    0::bigint AS last_seq, 0::double precision AS first_unix_s, 0::double precision AS last_unix_s,
    0::bigint AS n, ''::bytea AS body WHERE false;
CREATE VIEW engine_snapshot AS SELECT ''::text AS terminal, 0::bigint AS seq, 0::double precision AS unix_s,
    ''::text AS digest, ''::text AS body WHERE false
"""
_READING = """
CREATE TABLE "{kind}" (
    terminal TEXT NOT NULL, unix_s DOUBLE PRECISION NOT NULL, seq BIGINT NOT NULL,
    received_unix_s DOUBLE PRECISION NOT NULL, sent_unix_s DOUBLE PRECISION, extra TEXT, n INTEGER NOT NULL,
    PRIMARY KEY (terminal, unix_s, seq)
) PARTITION BY RANGE (unix_s)
"""
_TYPES = {float: "DOUBLE PRECISION", int: "BIGINT", bool: "SMALLINT", str: "TEXT"}
PARTITIONED = (*KINDS, "alert_event", "situation_minute")


@cache
def measured(kind: str) -> tuple[str, ...]:
    """The fields of a kind that have a least and a greatest."""
    return tuple(name for name, plain in own_fields(kind).items() if plain in (float, int))


def migrations() -> Iterator[tuple[str, str]]:
    """Every change by name, in order. A record's new field becomes a change of its own."""
    yield "tables", _TABLES
    yield "empty tables", _EMPTY
    for kind in KINDS:
        yield f"readings {kind}", _READING.format(kind=kind)
        for field, plain in own_fields(kind).items():
            added = [f'ADD COLUMN "{field}" {_TYPES[plain]}']
            if field in measured(kind):
                added += [f'ADD COLUMN "{field}_{end}" {_TYPES[float]}' for end in ENDS]
            yield f"column {kind}.{field}", f'ALTER TABLE "{kind}" {", ".join(added)}'


def migrate(connection: psycopg.Connection[tuple[object, ...]]) -> None:
    """Apply what is missing, all or nothing; several workers may call it at once."""
    with connection.transaction():
        connection.execute("SELECT pg_advisory_xact_lock(%s)", (LOCK,))
        connection.execute(
            "CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY, applied TIMESTAMPTZ NOT NULL)"
        )
        done = {name for (name,) in connection.execute("SELECT name FROM migration")}
        for name, change in migrations():
            if name not in done:
                connection.execute(change.encode())
                connection.execute("INSERT INTO migration VALUES (%s, now())", (name,))


def month_of(unix_s: float) -> tuple[int, int]:
    """Year and month of UTC."""
    moment = datetime.fromtimestamp(unix_s, UTC)
    return moment.year, moment.month


def add_month(connection: psycopg.Connection[tuple[object, ...]], month: tuple[int, int]) -> None:
    """The partitions of a month, where they are not there yet."""
    year, number = month
    start = datetime(year, number, 1, tzinfo=UTC)
    end = datetime(year + number // 12, number % 12 + 1, 1, tzinfo=UTC)
    with connection.transaction():
        connection.execute("SELECT pg_advisory_xact_lock(%s)", (LOCK,))
        for table in PARTITIONED:
            connection.execute(
                f'CREATE TABLE IF NOT EXISTS "{table}_{year}_{number:02}" PARTITION OF "{table}"'
                f" FOR VALUES FROM ({start.timestamp()}) TO ({end.timestamp()})".encode()
            )
