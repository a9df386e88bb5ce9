"""Tables of the store, and how a store made by an earlier version is brought up to date.

Every change is a named function that runs in the same transaction as its entry in `migration`.
"""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from dataclasses import fields
from types import NoneType, UnionType
from typing import Annotated, Literal, Union, get_args, get_origin, get_type_hints

from agent.records import KINDS, Reading

Migration = Callable[[sqlite3.Connection], None]

# "peak" in ASCII, written into the file's header: tells this store from other SQLite files.
APPLICATION_ID = 0x7065616B

_TABLES = """
CREATE TABLE seen (digest BLOB PRIMARY KEY, received_unix_s REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE minute (
    terminal TEXT NOT NULL, kind TEXT NOT NULL, place TEXT NOT NULL, field TEXT NOT NULL,
    minute_unix_s REAL NOT NULL, n INTEGER NOT NULL, total REAL NOT NULL, low REAL NOT NULL,
    high REAL NOT NULL, last REAL NOT NULL,
    PRIMARY KEY (terminal, kind, place, field, minute_unix_s)
) WITHOUT ROWID;
CREATE TABLE rejected (
    id INTEGER PRIMARY KEY AUTOINCREMENT, received_unix_s REAL NOT NULL, topic TEXT NOT NULL,
    payload BLOB NOT NULL, reason TEXT NOT NULL
);
CREATE TABLE alert_event (
    id INTEGER PRIMARY KEY, terminal TEXT NOT NULL, unix_s REAL NOT NULL, rule TEXT NOT NULL,
    severity TEXT NOT NULL, state TEXT NOT NULL, cause TEXT NOT NULL, action TEXT NOT NULL,
    evidence TEXT NOT NULL, figures TEXT NOT NULL, deadline_unix_s REAL,
    UNIQUE (terminal, rule, unix_s, state)
);
CREATE INDEX alert_event_time ON alert_event (terminal, unix_s);
CREATE TABLE situation (
    terminal TEXT PRIMARY KEY, unix_s REAL NOT NULL, written_wall_unix_s REAL NOT NULL, body TEXT NOT NULL
) WITHOUT ROWID;
CREATE TABLE situation_minute (
    terminal TEXT NOT NULL, unix_s REAL NOT NULL, body TEXT NOT NULL, PRIMARY KEY (terminal, unix_s)
) WITHOUT ROWID;
CREATE TABLE engine_snapshot (
    terminal TEXT PRIMARY KEY, seq INTEGER NOT NULL, unix_s REAL NOT NULL, digest TEXT NOT NULL,
    body TEXT NOT NULL
) WITHOUT ROWID;
CREATE TABLE plan (
    terminal TEXT PRIMARY KEY, digest TEXT NOT NULL, job TEXT NOT NULL, body TEXT NOT NULL
) WITHOUT ROWID;
"""

_PACKED_TABLE = """
CREATE TABLE packed (
    id INTEGER PRIMARY KEY, terminal TEXT NOT NULL, kind TEXT NOT NULL, first_seq INTEGER NOT NULL,
    last_seq INTEGER NOT NULL, first_unix_s REAL NOT NULL, last_unix_s REAL NOT NULL, n INTEGER NOT NULL,
    body BLOB NOT NULL
);
CREATE INDEX packed_time ON packed (terminal, kind, first_seq, last_seq, first_unix_s, last_unix_s);
CREATE INDEX packed_seq ON packed (last_seq)
"""
_INPUT_TABLE = "CREATE TABLE input_state (terminal TEXT PRIMARY KEY, body TEXT NOT NULL) WITHOUT ROWID"
# The number first: by its shape no other row is taken for one of these (store/rescue.py).
_FORWARDED_TABLE = """
CREATE TABLE forwarded (
    base INTEGER NOT NULL, terminal TEXT NOT NULL, body TEXT NOT NULL, PRIMARY KEY (base, terminal)
) WITHOUT ROWID
"""

_READING_TABLE = """
CREATE TABLE "{kind}" (
    seq INTEGER PRIMARY KEY, terminal TEXT NOT NULL, unix_s REAL NOT NULL, received_unix_s REAL NOT NULL,
    sent_unix_s REAL, extra TEXT
);
CREATE INDEX "{kind}_time" ON "{kind}" (terminal, unix_s);
"""


def own_fields(kind: str) -> dict[str, type]:
    """The fields that only this kind's record has, in its order, with their plain types."""
    hints = get_type_hints(KINDS[kind], include_extras=True)
    shared = {item.name for item in fields(Reading)}
    return {item.name: _plain(hints[item.name]) for item in fields(KINDS[kind]) if item.name not in shared}


def _plain(hint: object) -> type:
    if get_origin(hint) is Annotated:
        return _plain(get_args(hint)[0])
    if get_origin(hint) is Literal:
        return str
    if get_origin(hint) in (Union, UnionType):
        (only,) = (_plain(part) for part in get_args(hint) if part is not NoneType)
        return only
    if not isinstance(hint, type):
        raise TypeError(f"a field of a reading cannot have the type {hint!r}")
    return hint


_SQL_TYPES: Mapping[type, str] = {float: "REAL", int: "INTEGER", bool: "INTEGER", str: "TEXT"}


def _script(text: str) -> Migration:
    """One statement after the other; `executescript` would commit in between."""

    def run(connection: sqlite3.Connection) -> None:
        for statement in filter(str.strip, text.split(";")):
            connection.execute(statement)

    return run


def _column(table: str, field: str, plain: type) -> Migration:
    return _script(f'ALTER TABLE "{table}" ADD COLUMN "{field}" {_SQL_TYPES[plain]}')


def migrations() -> Iterator[tuple[str, Migration]]:
    """Every change by name, in order. A record's new field becomes a change of its own."""
    yield "tables", _script(_TABLES)
    for kind in KINDS:
        yield f"readings {kind}", _script(_READING_TABLE.format(kind=kind))
        for field, plain in own_fields(kind).items():
            yield f"column {kind}.{field}", _column(kind, field, plain)
    yield "states of inputs", _script(_INPUT_TABLE)
    yield "packed readings", _script(_PACKED_TABLE)
    yield "column alert_event.confidence", _column("alert_event", "confidence", float)
    yield "forwarded", _script(_FORWARDED_TABLE)
    yield "column alert_event.said", _column("alert_event", "said", str)


def migrate(connection: sqlite3.Connection, now_unix_s: float) -> None:
    """Apply what is missing, all or nothing; the connection is in autocommit mode."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(
            "CREATE TABLE IF NOT EXISTS migration (name TEXT PRIMARY KEY, applied_unix_s REAL NOT NULL)"
        )
        done = applied(connection)
        for name, change in migrations():
            if name not in done:
                change(connection)
                connection.execute("INSERT INTO migration VALUES (?, ?)", (name, now_unix_s))
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def applied(connection: sqlite3.Connection) -> set[str]:
    """Names of the changes that the store has."""
    return {str(name) for (name,) in connection.execute("SELECT name FROM migration")}
