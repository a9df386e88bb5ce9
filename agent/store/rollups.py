"""One-minute roll-ups of every numeric field, kept as readings come."""

import sqlite3
from collections.abc import Iterable
from functools import cache
from math import floor

from agent.records import AnyReading, Temperature
from agent.store.schema import own_fields

MINUTE_S = 60.0

_UPSERT = """
INSERT INTO minute VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
ON CONFLICT DO UPDATE SET n = n + excluded.n, total = total + excluded.total, low = min(low, excluded.low),
    high = max(high, excluded.high), last = excluded.last
"""

# Spans of minutes of one field; the desk's store answers the same in words of its own.
MINUTES_SQL = """
SELECT CAST(minute_unix_s / :step AS INTEGER) * :step + :offset AS unix_s, sum(total) / sum(n) AS middle,
    min(low) AS low, max(high) AS high FROM minute WHERE terminal = :terminal AND kind = :kind
    AND place = :place AND field = :field AND minute_unix_s BETWEEN :start AND :end GROUP BY 1 ORDER BY 1
"""

Key = tuple[str, str, str, str, float]


@cache
def numeric_fields(kind: str) -> tuple[str, ...]:
    """The fields of a kind that have roll-ups; a truth value counts as 0 or 1."""
    return tuple(name for name, plain in own_fields(kind).items() if plain is not str)


def add_to_minutes(
    connection: sqlite3.Connection, terminal: str, readings: Iterable[tuple[str, AnyReading]]
) -> None:
    """Add new readings, by kind, in the caller's transaction."""
    minutes: dict[Key, list[float]] = {}
    for kind, reading in readings:
        place = reading.where if isinstance(reading, Temperature) else ""
        start_unix_s = floor(reading.unix_s / MINUTE_S) * MINUTE_S
        for field in numeric_fields(kind):
            value = getattr(reading, field)
            if value is not None:
                minutes.setdefault((terminal, kind, place, field, start_unix_s), []).append(value)
    connection.executemany(
        _UPSERT,
        [(*key, len(one), sum(one), min(one), max(one), one[-1]) for key, one in minutes.items()],
    )
