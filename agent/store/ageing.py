"""What becomes of readings as they age: rows, then packed pieces, then only their minutes."""

import sqlite3
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import floor, inf
from typing import Any

from agent.records import KINDS
from agent.store.packing import packed, unpacked
from agent.store.questions import Connection
from agent.store.schema import own_fields

# What people said and what the agent found of its own clock stay as they are, for good.
AGEING = tuple(kind for kind in KINDS if kind not in ("note", "acknowledge", "clock"))
PACK_AFTER_S = 86_400.0
# A piece takes some hundredths of a second, while messages wait.
PIECE_ROWS = 2000
AT_LEAST_EVERY_S = 5.0
SHARED = ("seq", "unix_s", "received_unix_s", "sent_unix_s", "extra")
DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Piece:
    """Packed readings of one kind, `n` of them."""

    first_unix_s: float
    last_unix_s: float
    n: int
    body: bytes

    def rows(self, names: Sequence[str]) -> Iterator[tuple[Any, ...]]:
        """The cells of these columns, row by row; raises ValueError where the piece is damaged."""
        return zip(*unpacked(self.body, names, self.n), strict=True)


def age(connection: sqlite3.Connection, terminal: str, now_unix_s: float, keep_raw_days: int) -> bool:
    """Pack one piece, or forget one, in the caller's transaction; whether there may be more to do."""
    for kind in AGEING:
        if _pack(connection, terminal, kind, now_unix_s - PACK_AFTER_S):
            return True
    before_unix_s = _kept_from(connection, terminal, keep_raw_days)
    gone = connection.execute(
        "DELETE FROM packed WHERE id ="
        " (SELECT id FROM packed WHERE terminal = ? AND last_unix_s < ? ORDER BY id LIMIT 1)",
        (terminal, before_unix_s),
    ).rowcount
    # Too few for a piece.
    for kind in AGEING:
        gone += connection.execute(
            f'DELETE FROM "{kind}" WHERE terminal = ? AND unix_s < ?', (terminal, before_unix_s)
        ).rowcount
    return gone > 0


def _kept_from(connection: sqlite3.Connection, terminal: str, days: int) -> float:
    """The start of the last so many days on which the agent watched, -inf where they are not as many yet.

    By the calendar alone, a clock that runs ahead by years would cost everything.
    """
    start_unix_s = inf
    for _ in range(days):
        (latest,) = connection.execute(
            "SELECT max(unix_s) FROM situation_minute WHERE terminal = ? AND unix_s < ?",
            (terminal, start_unix_s),
        ).fetchone()
        if latest is None:
            return -inf
        start_unix_s = floor(latest / DAY_S) * DAY_S
    return start_unix_s


def _pack(connection: sqlite3.Connection, terminal: str, kind: str, before_unix_s: float) -> bool:
    """One piece of rows before this time; only whole pieces, so that they stay few."""
    names = (*SHARED, *own_fields(kind))
    columns = ", ".join(f'"{name}"' for name in names)
    rows = connection.execute(
        f'SELECT {columns} FROM "{kind}" WHERE terminal = ? AND unix_s < ? ORDER BY unix_s, seq LIMIT ?',
        (terminal, before_unix_s, PIECE_ROWS),
    ).fetchall()
    if len(rows) < PIECE_ROWS:
        return False
    body = packed(dict(zip(names, zip(*rows, strict=True), strict=True)))
    first, last = rows[0], rows[-1]
    connection.execute(
        "INSERT INTO packed (terminal, kind, first_seq, last_seq, first_unix_s, last_unix_s, n, body)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        (terminal, kind, first[0], last[0], first[1], last[1], len(rows), body),
    )
    connection.execute(f'DELETE FROM "{kind}" WHERE terminal = ? AND seq <= ?', (terminal, last[0]))
    return True


def pieces_after(connection: Connection, terminal: str, kind: str, seq: int) -> Iterator[Piece]:
    """The pieces with readings after `seq`, oldest first."""
    return _pieces(connection, "last_seq > ?", (terminal, kind, seq))


def pieces_between(
    connection: Connection, terminal: str, kind: str, start_unix_s: float, end_unix_s: float
) -> Iterator[Piece]:
    """The pieces with readings in [start, end], oldest first."""
    return _pieces(
        connection, "last_unix_s >= ? AND first_unix_s <= ?", (terminal, kind, start_unix_s, end_unix_s)
    )


def _pieces(connection: Connection, condition: str, values: tuple[str | float, ...]) -> Iterator[Piece]:
    rows = connection.execute(
        "SELECT first_unix_s, last_unix_s, n, body FROM packed"
        f" WHERE terminal = ? AND kind = ? AND {condition} ORDER BY first_seq",
        values,
    )
    return (Piece(*row) for row in rows)


def last_seq(connection: Connection) -> int:
    """The number of the last reading that the store has ever given, over all terminals."""
    each = " UNION ALL ".join(f'SELECT max(seq) AS seq FROM "{kind}"' for kind in KINDS)
    (last,) = connection.execute(
        f"SELECT max(seq) FROM ({each} UNION ALL SELECT max(last_seq) FROM packed"
        " UNION ALL SELECT max(seq) FROM engine_snapshot)"
    ).fetchone()
    return 0 if last is None else int(last)
