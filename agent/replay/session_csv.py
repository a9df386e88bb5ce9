"""One CSV file of a recorded session to readings and back.

Cells are validated by the very records that validate live messages; columns that peakshade does not know
become `extra`, like unknown fields of a message.
"""

import json
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import inf
from operator import attrgetter

from pydantic import TypeAdapter, ValidationError

from agent.config_check import allowed_text, known_fields
from agent.errors import UsageError
from agent.inputs.payloads import ONE_OF, SENT_TIME, TIME
from agent.records import KINDS, AnyReading, JsonValue
from agent.replay.csv_rows import Rows
from agent.replay.session_time import rfc3339_from_unix_s, unix_s_from_column
from agent.replay.skipped import Fault, SkippedLine, all_skipped_text, cell_fault
from agent.replay.spreadsheet import csv_of, guarded, unguarded
from agent.store.schema import own_fields

ALWAYS = (-inf, inf)
GOT_CHARACTERS = 120


def own_columns(kind: str) -> list[str]:
    """The fields of a kind's record that have a column of their own name, in the record's order."""
    return list(own_fields(kind))


@cache
def _text_columns(kind: str) -> frozenset[str]:
    return frozenset(name for name, plain in own_fields(kind).items() if plain is str)


@dataclass(frozen=True, slots=True)
class Taken:
    """What a file gives: readings in its order, and the lines that were left out."""

    readings: list[AnyReading]
    skipped: list[SkippedLine]


def readings_from_csv(kind: str, text: str, name: str, span: tuple[float, float] = ALWAYS) -> Taken:
    """The readings of one file in its order; `name` is the file's.

    A line that cannot be used, or that lies outside `span` (Unix seconds), is skipped. Raises UsageError with
    file and line where the header is wrong or no line can be used.
    """
    body = Rows(text, name)
    if body.header is None:
        raise UsageError(
            f"{name}: is empty; expected a header line; remove the file if there is no {kind} data"
        )
    body.header = [unguarded(column) for column in body.header]
    _check_header(kind, body.header, name)
    body.drop_ragged()
    readings: list[AnyReading] | None = None
    # Each round drops the lines that it finds wrong; what is left has fewer faults to find.
    while readings is None:
        readings = _readings(kind, body, span)
    if body.skipped and not readings:
        raise UsageError(f"{name}: no line can be used\n{all_skipped_text(body.skipped)}")
    return Taken(readings, sorted(body.skipped, key=attrgetter("line")))


def _check_header(kind: str, header: list[str], name: str) -> None:
    if len(header) == 1 and ";" in header[0]:
        raise UsageError(f"{name}, line 1: the cells are separated by semicolons; save the file with commas")
    twice = [column for column, follower in pairwise(sorted(header)) if column == follower]
    if twice:
        raise UsageError(f"{name}, line 1: column {twice[0]!r} stands there twice; remove or rename one")
    types = KINDS[kind].__dataclass_fields__
    needed = [TIME, *(column for column in own_columns(kind) if types[column].default is not None)]
    missing = [column for column in needed if column not in header]
    if missing:
        raise UsageError(
            f"{name}, line 1: column {missing[0]} is missing; got {','.join(header)[:GOT_CHARACTERS]!a};"
            f" the columns of {kind} are {','.join([TIME, *own_columns(kind)])}"
        )


def _readings(kind: str, body: Rows, span: tuple[float, float]) -> list[AnyReading] | None:
    """The readings, or None after the rows that have a fault were left out."""
    columns = body.columns()
    known = set(own_columns(kind))
    times = _times(columns[TIME], span)
    sent = _sent_times(columns[SENT_TIME]) if SENT_TIME in columns else _Times([], {})
    if faults := {**sent.faults, **times.faults}:
        body.drop(faults)
        return None
    values: dict[str, Sequence[object]] = {"unix_s": times.unix_s}
    if SENT_TIME in columns:
        values["sent_unix_s"] = sent.unix_s
    unknown: dict[str, Sequence[str]] = {}
    for column, cells in columns.items():
        if column in known:
            texts = [unguarded(cell) for cell in cells] if column in _text_columns(kind) else cells
            values[column] = [cell or None for cell in texts] if "" in texts else texts
        elif column not in (TIME, SENT_TIME):
            unknown[column] = cells
    if unknown:
        values["extra"] = _extras(unknown)
    if faults := _bare(kind, values):
        body.drop(faults)
        return None
    names = list(values)
    # One row after the other: a list of all of them costs more time than their validation.
    rows = (dict(zip(names, row, strict=True)) for row in zip(*values.values(), strict=True))
    try:
        return _adapter(kind).validate_python(rows)
    except ValidationError as error:
        body.drop(_field_faults(kind, error))
        return None


@cache
def _adapter(kind: str) -> TypeAdapter[list[AnyReading]]:
    return TypeAdapter(list[KINDS[kind]])  # type: ignore[valid-type]


@dataclass(frozen=True, slots=True)
class _Times:
    unix_s: Sequence[float | None]
    faults: dict[int, Fault]


def _times(cells: Sequence[str], span: tuple[float, float]) -> _Times:
    found = unix_s_from_column(cells)
    faults = {index: _time_fault(TIME, cells[index]) for index, one in enumerate(found) if one is None}
    times = [(one, index) for index, one in enumerate(found) if one is not None]
    faults |= {
        index: cell_fault(TIME, repr(cells[index]), "a time of the session or of a day around it")
        for one, index in times
        if not span[0] <= one <= span[1]
    }
    if not faults and found != sorted(one for one, _ in times):
        in_order = set(_longest_in_order([one for one, _ in times]))
        faults = {
            index: cell_fault(TIME, f"{cells[index]!r}, out of order", "the order of receipt; sort the file")
            for index in range(len(cells))
            if index not in in_order
        }
    return _Times(found, faults)


def _longest_in_order(times: Sequence[float]) -> list[int]:
    """Indices of the most times that can be kept so that they never go back (patience sorting)."""
    tails: list[float] = []
    at: list[int] = []
    before: list[int] = [-1] * len(times)
    for index, time_unix_s in enumerate(times):
        place = bisect_right(tails, time_unix_s)
        before[index] = at[place - 1] if place else -1
        tails[place : place + 1] = [time_unix_s]
        at[place : place + 1] = [index]
    found, index = [], at[-1]
    while index >= 0:
        found.append(index)
        index = before[index]
    return found[::-1]


def _sent_times(cells: Sequence[str]) -> _Times:
    found = unix_s_from_column(cells)
    faults = {
        index: _time_fault(SENT_TIME, cell)
        for index, (cell, one) in enumerate(zip(cells, found, strict=True))
        if cell and one is None
    }
    return _Times(found, faults)


def _time_fault(column: str, cell: str) -> Fault:
    return cell_fault(column, repr(cell), "RFC 3339 such as 2026-07-18T09:00:00Z, or Unix seconds")


def _extras(columns: dict[str, Sequence[str]]) -> list[dict[str, JsonValue]]:
    names = list(columns)
    return [
        {name: _extra_value(cell) for name, cell in zip(names, cells, strict=True) if cell}
        for cells in zip(*columns.values(), strict=True)
    ]


def _extra_value(cell: str) -> JsonValue:
    """A JSON value where the cell is one, else the text."""
    text = unguarded(cell)
    try:
        value: JsonValue = json.loads(text)
    except ValueError:
        return text
    return value


def _bare(kind: str, values: Mapping[str, Sequence[object]]) -> dict[int, Fault]:
    """Rows that have none of the fields of which their kind needs one."""
    names = ONE_OF.get(kind)
    if names is None:
        return {}
    present = [values[name] for name in names if name in values]
    if any(None not in cells for cells in present):
        return {}
    return {
        index: Fault(f"none of {', '.join(names)} has a value; expected at least one", "no value at all")
        for index in range(len(values["unix_s"]))
        if all(cells[index] is None for cells in present)
    }


def _field_faults(kind: str, error: ValidationError) -> dict[int, Fault]:
    """The first fault of each row that the records refuse."""
    faults: dict[int, Fault] = {}
    for one in error.errors(include_url=False):
        index, column = int(one["loc"][0]), str(one["loc"][1])
        got = "empty" if one["input"] is None else repr(one["input"])
        expected = allowed_text(known_fields(KINDS[kind])[column])
        faults.setdefault(index, cell_fault(column, got, expected))
    return faults


def readings_to_csv(kind: str, readings: Sequence[AnyReading]) -> str:
    """The text of one kind's file; columns without any value are left out."""
    own = [name for name in own_columns(kind) if any(getattr(r, name) is not None for r in readings)]
    # An unknown field that is called like a time column cannot have a column of that name again.
    extras = sorted({key for r in readings for key in r.extra} - {TIME, SENT_TIME, *own_columns(kind)})
    sent = any(r.sent_unix_s is not None for r in readings)
    header = [TIME, *([SENT_TIME] if sent else []), *own, *map(guarded, extras)]
    return csv_of([header, *(_row(reading, sent, own, extras) for reading in readings)])


def _row(reading: AnyReading, sent: bool, own: Sequence[str], extras: Sequence[str]) -> list[str]:
    row = [rfc3339_from_unix_s(reading.unix_s)]
    if sent:
        row.append("" if reading.sent_unix_s is None else rfc3339_from_unix_s(reading.sent_unix_s))
    row += [_cell(getattr(reading, name)) for name in own]
    return row + [_extra_cell(reading.extra[key]) if key in reading.extra else "" for key in extras]


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return guarded(value)
    return "" if value is None else str(value)


def _extra_cell(value: JsonValue) -> str:
    """Text stands as it is, but for formulas, unless it would be read back as something else."""
    if isinstance(value, str) and value and _extra_value(guarded(value)) == value:
        return guarded(value)
    cell = json.dumps(value, ensure_ascii=False)
    return cell if isinstance(value, float | int) else guarded(cell)
