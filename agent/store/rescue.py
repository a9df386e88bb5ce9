"""What can be read of a damaged store: each row by its shape, wherever it lies in the file."""

import sqlite3
from collections.abc import Container, Iterable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal, get_args, get_origin, get_type_hints

from agent.records import KINDS
from agent.store.opening import open_for_writing
from agent.store.pages import Pages, Row, Value

# Only the store's own housekeeping is left out: messages that were seen, what was forwarded, how it was made.
LEFT_OUT = {"seen", "migration", "forwarded"}
# Of two rows with the same key the one with more here is the newer: the other lies on a page given up.
NEWER_BY = {"situation": "written_wall_unix_s", "minute": "n", "engine_snapshot": "seq"}
# Fields that came later are missing at the end of older rows.
LATER_FIELDS = 3

_TYPES: Mapping[str, tuple[type, ...]] = {
    "REAL": (float, int),
    "INTEGER": (int,),
    "TEXT": (str,),
    "BLOB": (bytes,),
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column; `key` is its place in the primary key, from 1, or 0. `words`: what it may hold."""

    name: str
    types: tuple[type, ...]
    needed: bool
    key: int
    words: tuple[object, ...]

    def fits(self, value: Value) -> bool:
        """Whether the value can stand in this column."""
        if value is None:
            return not self.needed
        return isinstance(value, self.types) and (not self.words or value in self.words)


@dataclass(frozen=True, slots=True)
class Shape:
    """How a row of a table looks on its page."""

    table: str
    has_rowid: bool
    columns: tuple[Column, ...]

    def fits(self, row: Row, short: bool) -> bool:
        """Whether the row can be of this table; `short`: written before its last fields were invented."""
        count, missing = len(row.values), len(self.columns) - len(row.values)
        as_many = 0 < missing <= LATER_FIELDS and self.table in KINDS if short else missing == 0
        if (row.rowid is not None) != self.has_rowid or not as_many:
            return False
        return count > 0 and all(
            value is None if self.is_rowid(column) else column.fits(value)
            for column, value in zip(self.columns, row.values, strict=False)
        )

    def is_rowid(self, column: Column) -> bool:
        """Whether the column is another name of the row id, which does not stand in the record."""
        return self.has_rowid and column.key == 1 and column.types == (int,)

    def named(self, row: Row) -> dict[str, Value]:
        """The row's values by the names of their columns."""
        found: dict[str, Value] = dict(
            zip((column.name for column in self.columns), row.values, strict=False)
        )
        for column in self.columns:
            if self.is_rowid(column):
                found[column.name] = row.rowid
        return found

    def key(self, values: Mapping[str, Value]) -> tuple[Value, ...]:
        """What tells the rows of the table apart."""
        return tuple(values[column.name] for column in self.columns if column.key)


def rows_of(path: Path, tables: Container[str] | None = None) -> Iterator[tuple[str, dict[str, Value]]]:
    """Table and values of every row that can be read, of these tables or of all but the housekeeping."""
    pages, shapes = Pages(path), _shapes()
    for number in pages.numbers():
        for row in pages.rows(number):
            shape = _shape_of(row, shapes)
            if shape is not None and (tables is None or shape.table in tables):
                yield shape.table, shape.named(row)


def rescued(path: Path, out: Path, now_unix_s: float) -> dict[str, int]:
    """Bring every row that can be read into a new store at `out`; how many of each table."""
    found: dict[str, dict[tuple[Value, ...], dict[str, Value]]] = {}
    keys = {one.table: one for one in _shapes()}
    for table, values in rows_of(path):
        rows, key = found.setdefault(table, {}), keys[table].key(values)
        if key not in rows or _is_newer(table, values, rows[key]):
            rows[key] = values
    with closing(open_for_writing(out, now_unix_s)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        for table, rows in found.items():
            for values in rows.values():
                names = ", ".join(f'"{name}"' for name in values)
                marks = ", ".join("?" * len(values))
                connection.execute(
                    f'INSERT OR REPLACE INTO "{table}" ({names}) VALUES ({marks})', tuple(values.values())
                )
        connection.execute("COMMIT")
    return {table: len(rows) for table, rows in sorted(found.items())}


def _is_newer(table: str, values: Mapping[str, Value], than: Mapping[str, Value]) -> bool:
    name = NEWER_BY.get(table)
    if name is None:
        return False
    one, other = values[name], than[name]
    return isinstance(one, int | float) and isinstance(other, int | float) and one > other


def _shape_of(row: Row, shapes: Iterable[Shape]) -> Shape | None:
    for short in (False, True):
        for shape in shapes:
            if shape.fits(row, short):
                return shape
    return None


@cache
def _shapes() -> tuple[Shape, ...]:
    """Of a store that this version makes."""
    with closing(open_for_writing(Path(":memory:"), 0.0)) as connection:
        listed = connection.execute("PRAGMA table_list").fetchall()
        return tuple(
            Shape(table, not without_rowid, tuple(_columns(connection, table)))
            for _, table, kind, _, without_rowid, _ in listed
            if kind == "table" and table not in LEFT_OUT and not table.startswith("sqlite_")
        )


def _columns(connection: sqlite3.Connection, table: str) -> Iterator[Column]:
    words = _words(table)
    for _, name, declared, needed, _, key in connection.execute(f'PRAGMA table_info("{table}")'):
        yield Column(name, _TYPES[declared], bool(needed), key, words.get(name, ()))


def _words(table: str) -> dict[str, tuple[object, ...]]:
    """The words of the fields that hold one of a few."""
    record = KINDS.get(table)
    hints = {} if record is None else get_type_hints(record)
    return {name: get_args(hint) for name, hint in hints.items() if get_origin(hint) is Literal}
