"""What the pages ask the store while somebody turns the dish, and for the report of the evening."""

from dataclasses import dataclass
from datetime import datetime, time
from math import inf
from zoneinfo import ZoneInfo

from agent.store.questions import Connection
from dashboard.queries import NOTE, Channel, check_channel


@dataclass(frozen=True, slots=True, kw_only=True)
class NewestSignal:
    """Whether the modem has lock, and the field in which it says its level (None: it says none)."""

    unix_s: float
    locked: bool
    figure: str | None


# By what the engine takes first.
LEVEL_FIELDS = ("esno_db", "cn_db", "quality_percent")
# Enough to see whether the level rises, however often the modem speaks.
LEVELS_SHOWN = 50


def peaking_since(connection: Connection, terminal: str) -> float | None:
    """When the crew said that it starts to peak, None where it has not, or has said that it is done."""
    row = connection.execute(
        f"SELECT * FROM (SELECT {NOTE} FROM note WHERE terminal = ? AND kind IN ('peak-start', 'peak-done'))"
        " AS told WHERE NOT taken_back ORDER BY unix_s DESC, seq DESC LIMIT 1",
        (terminal,),
    ).fetchone()
    return row["unix_s"] if row is not None and row["kind"] == "peak-start" else None


def peaking_levels(
    connection: Connection, terminal: str, field: str, since_unix_s: float
) -> tuple[list[tuple[float, float]], float | None]:
    """Time and level of the newest readings that have the field, newest first, and the best since then."""
    check_channel(Channel(kind="signal", field=field))
    where = f'FROM signal WHERE terminal = ? AND unix_s >= ? AND "{field}" IS NOT NULL'
    rows = connection.execute(
        f'SELECT unix_s, "{field}" AS level {where} ORDER BY unix_s DESC, seq DESC LIMIT ?',
        (terminal, since_unix_s, LEVELS_SHOWN),
    )
    newest = [(row["unix_s"], row["level"]) for row in rows]
    (best,) = connection.execute(f'SELECT max("{field}") {where}', (terminal, since_unix_s)).fetchone()
    return newest, best


def newest_signal(connection: Connection, terminal: str) -> NewestSignal | None:
    """The newest reading of the signal, None before the first of the last day."""
    row = connection.execute(
        "SELECT * FROM signal WHERE terminal = ? ORDER BY unix_s DESC, seq DESC LIMIT 1", (terminal,)
    ).fetchone()
    if row is None:
        return None
    figure = next((name for name in LEVEL_FIELDS if row[name] is not None), None)
    locked = figure is not None if row["locked"] is None else bool(row["locked"])
    return NewestSignal(unix_s=row["unix_s"], locked=locked, figure=figure)


def days(connection: Connection, terminal: str, zone: ZoneInfo, longest: int) -> tuple[str, ...]:
    """The days with a situation, such as 2026-07-18 by the calendar of the zone, the newest first."""
    found: list[str] = []
    before_unix_s = inf
    while len(found) < longest:
        (newest,) = connection.execute(
            "SELECT max(unix_s) FROM situation_minute WHERE terminal = ? AND unix_s < ?",
            (terminal, before_unix_s),
        ).fetchone()
        if newest is None:
            break
        day = datetime.fromtimestamp(newest, zone).date()
        found.append(day.isoformat())
        before_unix_s = datetime.combine(day, time(), zone).timestamp()
    return tuple(found)
