"""Readings thinned to one a minute and place. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from math import floor
from statistics import median_low
from typing import Any

from agent.forward.batch import Row
from agent.records import KINDS, Temperature
from agent.store.schema import own_fields
from agent.store.writer import Stored

MINUTE_S = 60.0


def minute_of(unix_s: float) -> float:
    """The start of the minute that this moment lies in."""
    return floor(unix_s / MINUTE_S) * MINUTE_S


def thinned(readings: Iterable[Stored], before_unix_s: float) -> Iterator[list[Row]]:
    """A list of rows for each minute that has ended by then; `readings` by number, so by time too."""
    for start_unix_s, some in groupby(readings, key=lambda one: minute_of(one.reading.unix_s)):
        if start_unix_s + MINUTE_S > before_unix_s:
            return
        places: dict[tuple[str, str], list[Stored]] = {}
        for stored in some:
            place = stored.reading.where if isinstance(stored.reading, Temperature) else ""
            places.setdefault((stored.kind, place), []).append(stored)
        yield sorted((_one(group) for group in places.values()), key=lambda row: row.seq)


def _one(group: Sequence[Stored]) -> Row:
    last = group[-1]
    if len(group) == 1:
        return Row(seq=last.seq, reading=last.reading)
    found: dict[str, Any] = {}
    low: dict[str, float] = {}
    high: dict[str, float] = {}
    for name in own_fields(last.kind):
        values = [value for one in group if (value := getattr(one.reading, name)) is not None]
        if not values:
            continue
        if isinstance(values[0], bool):
            found[name] = all(values)
        elif isinstance(values[0], str):
            found[name] = values[-1]
        else:
            found[name], low[name], high[name] = median_low(values), min(values), max(values)
    reading = KINDS[last.kind](unix_s=last.reading.unix_s, **found)
    return Row(seq=last.seq, reading=reading, n=len(group), low=low, high=high)
