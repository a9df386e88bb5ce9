"""What an agent that has ended left of its state, in a sound store or in a damaged one."""

import json
import logging
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from agent.records import ActiveAlert, Situation
from agent.store.pages import Value
from agent.store.reader import SITUATION, Snapshot, clock_offset_s, latest_unix_s, situations, snapshot
from agent.store.rescue import rows_of
from agent.store.sealing import unsealed
from agent.store.shown import shown_situation

LOG = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Remains:
    """What the last run left of its state; None and empty where it left nothing, or nothing that can be read.

    `latest_unix_s` is the engine's time, `offset_s` the computer's clock less it. `broken`: there was a state
    that cannot be read.
    """

    latest_unix_s: float | None = None
    offset_s: float = 0.0
    snapshot: Snapshot | None = None
    alerts: tuple[ActiveAlert, ...] = ()
    broken: bool = False


def remains(connection: sqlite3.Connection, terminal: str) -> Remains:
    """What the last run left in a sound store."""
    latest, offset_s = latest_unix_s(connection, terminal), clock_offset_s(connection, terminal)
    alerts: tuple[ActiveAlert, ...] = ()
    try:
        found = [one.situation for one in situations(connection) if one.terminal == terminal]
        alerts = _alerts(found, offset_s)
        return Remains(latest, offset_s, snapshot(connection, terminal), alerts)
    except ValueError as error:
        LOG.warning("the engine's stored state cannot be read (%s)", error)
        return Remains(latest, offset_s, alerts=alerts, broken=True)


def salvaged(path: Path, terminal: str) -> Remains:
    """What the last run left in a damaged store, each part as far as it can be read."""
    newest: dict[str, Mapping[str, Value]] = {}
    for table, values in rows_of(path, NEWEST_BY):
        if values["terminal"] == terminal and _number(values, table) >= _number(newest.get(table, {}), table):
            newest[table] = values
    offset_s = float(newest["clock"]["offset_s"] or 0.0) if "clock" in newest else 0.0
    times = [float(newest[table]["unix_s"] or 0.0) for table in newest]
    return Remains(
        max(times, default=None),
        offset_s,
        _snapshot(newest.get("engine_snapshot")),
        _alerts(_situations(newest.get("situation")), offset_s),
        broken=True,
    )


# Of the rows of a table the one with the highest of these is the last that was written.
NEWEST_BY = {"engine_snapshot": "seq", "situation": "unix_s", "clock": "seq"}


def _number(values: Mapping[str, Value], table: str) -> float:
    value = values.get(NEWEST_BY[table])
    return float(value) if isinstance(value, int | float) else float("-inf")


def _snapshot(values: Mapping[str, Value] | None) -> Snapshot | None:
    if values is None:
        return None
    try:
        digest = unsealed(str(values["digest"]), str(values["body"]))
        body = json.loads(str(values["body"]))
    except ValueError as error:
        LOG.warning("the engine's state cannot be read (%s)", error)
        return None
    seq = int(_number(values, "engine_snapshot"))
    return Snapshot(seq, float(values["unix_s"] or 0.0), digest, body)


def _situations(values: Mapping[str, Value] | None) -> list[Situation]:
    if values is None:
        return []
    try:
        return [SITUATION.validate_json(str(values["body"]))]
    except ValueError as error:
        LOG.warning("the last situation cannot be read (%s)", error)
        return []


def _alerts(found: list[Situation], offset_s: float) -> tuple[ActiveAlert, ...]:
    """The alerts that stood, by the engine's clock."""
    return tuple(alert for one in found for alert in shown_situation(one, -offset_s).alerts)
