"""Opens the desk's store, for a worker or for whoever asks."""

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, overload

import psycopg
from psycopg_pool import ConnectionPool, PoolTimeout

from agent.config_desk import DeskDatabase
from agent.store.desk.writer import Plain
from agent.store.opening import StoreError
from agent.store.questions import Rows, Values

CONNECT_S = 10
# Two colons are a cast.
_NAMED = re.compile(r"(?<!:):([a-z_]+)")


class Row(Sequence[Any]):
    """A row by place or by name, as SQLite's are."""

    __slots__ = ("_names", "_values")

    def __init__(self, names: Mapping[str, int], values: Sequence[Any]) -> None:
        self._names = names
        self._values = values

    @overload
    def __getitem__(self, key: int | str) -> Any: ...

    @overload
    def __getitem__(self, key: slice) -> Sequence[Any]: ...

    def __getitem__(self, key: int | str | slice) -> Any:
        return self._values[self._names[key] if isinstance(key, str) else key]

    def __len__(self) -> int:
        return len(self._values)


def _rows(cursor: psycopg.Cursor[Any]) -> Callable[[Sequence[Any]], Row]:
    names = {column.name: place for place, column in enumerate(cursor.description or ())}
    return lambda values: Row(names, values)


class DeskConnection:
    """Answers the questions that are put to a terminal's own store, in one state of the desk's."""

    def __init__(self, connection: psycopg.Connection[Row]) -> None:
        self._connection = connection

    def execute(self, sql: str, parameters: Values = (), /) -> Rows:
        """The answer; `?` and `:name` stand for the values."""
        return self._connection.execute(_translated(sql), parameters)


@cache
def _translated(sql: str) -> bytes:
    # The plus keeps SQLite from an index; PostgreSQL knows better.
    plain = sql.replace("+terminal", "terminal").replace("%", "%%").replace("?", "%s")
    return _NAMED.sub(r"%(\1)s", plain).encode()


def _options(database: DeskDatabase) -> dict[str, Any]:
    secret = database.password
    known = {} if secret is None else {"password": secret.get_secret_value()}
    return {"connect_timeout": CONNECT_S, "application_name": "peakshade", **known}


def open_for_ingest(database: DeskDatabase) -> Plain:
    """A worker's own connection, in autocommit mode; raises psycopg.OperationalError."""
    return psycopg.connect(database.connect, autocommit=True, **_options(database))


@cache
def pool_of(database: DeskDatabase) -> ConnectionPool[psycopg.Connection[Row]]:
    """The connections of this process to ask with; what is broken is replaced."""
    return ConnectionPool(
        database.connect,
        kwargs={"row_factory": _rows, **_options(database)},
        min_size=1,
        max_size=8,
        timeout=CONNECT_S,
        open=True,
        check=ConnectionPool.check_connection,
        configure=_read_only,
    )


def _read_only(connection: psycopg.Connection[Row]) -> None:
    connection.read_only = True
    connection.isolation_level = psycopg.IsolationLevel.REPEATABLE_READ


@contextmanager
def open_desk(database: DeskDatabase) -> Iterator[DeskConnection]:
    """A read-only connection that sees one state of the store; raises StoreError."""
    try:
        with pool_of(database).connection() as connection:
            yield DeskConnection(connection)
    except (psycopg.Error, PoolTimeout) as error:
        reason = str(error).strip().replace("\n", "; ")
        raise StoreError(
            f"database {database}: {reason}; does it run, and has `peakshade desk` made its tables?"
        ) from error
