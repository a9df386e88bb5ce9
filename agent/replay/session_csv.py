"""One CSV file of a recorded session to readings and back.

Cells are validated by the very records that validate live messages; columns that peakshade does not know
become `extra`, like unknown fields of a message.
"""

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import fields
from functools import cache
from itertools import pairwise

from pydantic import TypeAdapter, ValidationError

from agent.config_check import allowed_text, known_fields
from agent.errors import UsageError
from agent.inputs.payloads import ONE_OF, SENT_TIME, TIME
from agent.records import KINDS, AnyReading, JsonValue, Reading
from agent.replay.session_time import rfc3339_from_unix_s, unix_s_from_column


def own_columns(kind: str) -> list[str]:
    """The fields of a kind's record that have a column of their own name, in the record's order."""
    shared = {item.name for item in fields(Reading)}
    return [item.name for item in fields(KINDS[kind]) if item.name not in shared]


def readings_from_csv(kind: str, text: str, name: str) -> list[AnyReading]:
    """The readings of one file in its order; raises UsageError with file and line. `name` is the file's."""
    rows = _rows(text, name)
    if not rows:
        raise UsageError(
            f"{name}: is empty; expected a header line; remove the file if there is no {kind} data"
        )
    header, body = [cell.strip() for cell in rows[0]], rows[1:]
    _check_header(kind, header, name)
    if body and set(map(len, body)) != {len(header)}:
        ragged = next(index for index, row in enumerate(body) if len(row) != len(header))
        raise UsageError(
            f"{name}, line {_line(text, ragged)}: {len(body[ragged])} cells, expected {len(header)};"
            " the file was cut short or a comma in a text stands without quotes"
        )
    cells: list[Sequence[str]] = list(zip(*body, strict=True)) if body else [()] * len(header)
    columns = dict(zip(header, cells, strict=True))
    return _readings(kind, columns, _Place(text, name))


class _Place:
    """Words where in the file something is wrong."""

    def __init__(self, text: str, name: str) -> None:
        self.text, self.name = text, name

    def error(self, index: int, message: str) -> UsageError:
        """An error about the reading number `index`."""
        return UsageError(f"{self.name}, line {_line(self.text, index)}: {message}")


def _rows(text: str, name: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        return list(filter(None, reader))
    except csv.Error as error:
        raise UsageError(
            f"{name}, line {reader.line_num}: is not CSV ({error}); the file was cut short or is no CSV file"
        ) from None


def _line(text: str, index: int) -> int:
    """The line on which the reading number `index` ends; quoted cells may hold line ends."""
    reader = csv.reader(io.StringIO(text, newline=""))
    rows = (reader.line_num for row in reader if row)
    return next(line for number, line in enumerate(rows, start=-1) if number == index)


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
            f"{name}, line 1: column {missing[0]} is missing; got {','.join(header)};"
            f" the columns of {kind} are {','.join([TIME, *own_columns(kind)])}"
        )


def _readings(kind: str, columns: dict[str, Sequence[str]], place: _Place) -> list[AnyReading]:
    known = set(own_columns(kind))
    values: dict[str, Sequence[object]] = {"unix_s": _times(columns[TIME], place)}
    if SENT_TIME in columns:
        values["sent_unix_s"] = _sent_times(columns[SENT_TIME], place)
    unknown: dict[str, Sequence[str]] = {}
    for column, cells in columns.items():
        if column in known:
            values[column] = [cell or None for cell in cells] if "" in cells else cells
        elif column not in (TIME, SENT_TIME):
            unknown[column] = cells
    if unknown:
        values["extra"] = _extras(unknown)
    _check_together(kind, values, place)
    names = list(values)
    # One row after the other: a list of all of them costs more time than their validation.
    rows = (dict(zip(names, row, strict=True)) for row in zip(*values.values(), strict=True))
    try:
        return _adapter(kind).validate_python(rows)
    except ValidationError as error:
        raise _reading_error(kind, error, place) from None


@cache
def _adapter(kind: str) -> TypeAdapter[list[AnyReading]]:
    return TypeAdapter(list[KINDS[kind]])  # type: ignore[valid-type]


def _times(cells: Sequence[str], place: _Place) -> list[float]:
    times = _all_times(cells, TIME, place)
    if times != sorted(times):
        wrong = next(index for index, (a, b) in enumerate(pairwise(times), start=1) if b < a)
        raise place.error(
            wrong,
            f"time is {cells[wrong]!r}, before the line above ({cells[wrong - 1]!r});"
            " expected the order of receipt; sort the file by its time column",
        )
    return times


def _all_times(cells: Sequence[str], column: str, place: _Place) -> list[float]:
    times: list[float] = []
    for index, time_unix_s in enumerate(unix_s_from_column(cells)):
        if time_unix_s is None:
            raise _time_error(index, column, cells[index], place)
        times.append(time_unix_s)
    return times


def _sent_times(cells: Sequence[str], place: _Place) -> list[float | None]:
    times = unix_s_from_column(cells)
    for index, (cell, time_unix_s) in enumerate(zip(cells, times, strict=True)):
        if cell and time_unix_s is None:
            raise _time_error(index, SENT_TIME, cell, place)
    return times


def _time_error(index: int, column: str, cell: str, place: _Place) -> UsageError:
    return place.error(
        index, f"{column} is {cell!r}; expected RFC 3339 such as 2026-07-18T09:00:00Z, or Unix seconds"
    )


def _extras(columns: dict[str, Sequence[str]]) -> list[dict[str, JsonValue]]:
    names = list(columns)
    return [
        {name: _extra_value(cell) for name, cell in zip(names, cells, strict=True) if cell}
        for cells in zip(*columns.values(), strict=True)
    ]


def _extra_value(cell: str) -> JsonValue:
    """A JSON value where the cell is one, else the text as it stands."""
    try:
        value: JsonValue = json.loads(cell)
    except ValueError:
        return cell
    return value


def _check_together(kind: str, values: dict[str, Sequence[object]], place: _Place) -> None:
    names = ONE_OF.get(kind)
    if names is None:
        return
    present = [values[name] for name in names if name in values]
    if any(None not in cells for cells in present):
        return
    count = len(values["unix_s"])
    bare = next((index for index in range(count) if all(cells[index] is None for cells in present)), None)
    if bare is not None:
        raise place.error(bare, f"none of {', '.join(names)} has a value; expected at least one")


def _reading_error(kind: str, error: ValidationError, place: _Place) -> UsageError:
    first = error.errors(include_url=False)[0]
    index, column = int(first["loc"][0]), str(first["loc"][1])
    expected = allowed_text(known_fields(KINDS[kind])[column])
    got = "empty" if first["input"] is None else repr(first["input"])
    return place.error(index, f"{column} is {got}; expected {expected}; correct or empty the cell")


def readings_to_csv(kind: str, readings: Sequence[AnyReading]) -> str:
    """The text of one kind's file; columns without any value are left out."""
    own = [name for name in own_columns(kind) if any(getattr(r, name) is not None for r in readings)]
    # An unknown field that is called like a time column cannot have a column of that name again.
    extras = sorted({key for r in readings for key in r.extra} - {TIME, SENT_TIME, *own_columns(kind)})
    sent = any(r.sent_unix_s is not None for r in readings)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([TIME, *([SENT_TIME] if sent else []), *own, *extras])
    for reading in readings:
        row = [rfc3339_from_unix_s(reading.unix_s)]
        if sent:
            row.append("" if reading.sent_unix_s is None else rfc3339_from_unix_s(reading.sent_unix_s))
        row += [_cell(getattr(reading, name)) for name in own]
        row += [_extra_cell(reading.extra[key]) if key in reading.extra else "" for key in extras]
        writer.writerow(row)
    return out.getvalue()


def _cell(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else str(value)


def _extra_cell(value: JsonValue) -> str:
    """Text stands as it is unless it would be read back as something else."""
    if isinstance(value, str) and value and _extra_value(value) == value:
        return value
    return json.dumps(value, ensure_ascii=False)
