"""A CSV file with the column names of another program as readings, by a map that the user writes.

The map is TOML: how the time is written, and a table a kind as in `agent.inputs.mapping`, whose sources are
the columns:

    time = { column = "Date", format = "%d.%m.%Y %H:%M:%S", zone = "Europe/Madrid" }
    delimiter = ";"
    decimal = ","

    [[signal]]
    esno_db = "SNR"
"""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from math import inf
from operator import attrgetter
from pathlib import Path
from typing import Annotated, cast
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from annotated_types import MaxLen, MinLen
from typing_extensions import TypeForm

from agent.config_check import Findings, read_section, read_value
from agent.errors import UsageError
from agent.inputs.mapping import MappingError, ReadingMap, fields_of, reading_maps, sources_of
from agent.inputs.payloads import TIME, PayloadError, reading_of
from agent.records import AnyReading, JsonValue
from agent.replay.csv_rows import Rows
from agent.replay.import_gaps import Moment, Stretch, joined
from agent.replay.session_files import csv_text
from agent.replay.session_time import unix_s_from_cell
from agent.replay.skipped import Fault, SkippedLine, all_skipped_text

# A number, perhaps with a unit behind it.
DECIMAL = re.compile(r"[-+]?\d+(\.\d+)?(\s*[^\d\s].*)?")

Character = Annotated[str, MinLen(1), MaxLen(1)]
# Keys beside the time and the kinds, with their types and what counts where they are absent.
FILE_KEYS: Mapping[str, tuple[TypeForm[object], object]] = {
    "delimiter": (Character, ","),
    "decimal": (Character, "."),
    "empty": (list[str], [""]),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeColumn:
    """The column of the time, or those of date and time, which are joined by a space.

    Without `format` it is RFC 3339, Unix seconds, or a local ISO time with `zone`.
    """

    column: str | list[str]
    format: str | None = None
    zone: str | None = None

    @property
    def columns(self) -> list[str]:
        """All of them."""
        return [self.column] if isinstance(self.column, str) else self.column


@dataclass(frozen=True, slots=True)
class CsvMap:
    """How to read one program's files; a cell that holds one of `empty` has no value."""

    time: TimeColumn
    delimiter: str
    decimal: str
    empty: frozenset[str]
    readings: tuple[ReadingMap, ...]


@dataclass(frozen=True, slots=True)
class Imported:
    """What a file gives: readings in time order, what was left out, and how many rows hold nothing mapped.

    `stretches` are those of its lines' times.
    """

    readings: list[AnyReading]
    skipped: list[SkippedLine]
    bare_rows: int
    stretches: list[Stretch]


def csv_map(text: str, name: str) -> CsvMap:
    """The map in a TOML file's text; raises UsageError with one line for each thing to mend."""
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{name}: is not TOML: {error}; text stands in quotes, a key once") from None
    findings = Findings(name)
    time = _time_column(tree, findings)
    values = {key: usual for key, (_, usual) in FILE_KEYS.items()} | tree
    delimiter, decimal, empty = (
        read_value(hint, "", key, values, findings) for key, (hint, _) in FILE_KEYS.items()
    )
    if findings.lines or time is None:
        raise UsageError("\n".join(findings.lines))
    tables = {key: value for key, value in tree.items() if key not in (TIME, *FILE_KEYS)}
    maps = tuple(reading_maps(tables, name))
    return CsvMap(time, str(delimiter), str(decimal), frozenset(cast(list[str], empty)), maps)


def _time_column(tree: Mapping[str, object], findings: Findings) -> TimeColumn | None:
    value = tree.get(TIME)
    if isinstance(value, str) or (isinstance(value, list) and all(isinstance(one, str) for one in value)):
        return TimeColumn(column=value)
    if not isinstance(value, dict):
        findings.missing("", TIME, 'the name of a column in quotes, or { column = "...", format = "..." }')
        return None
    time = read_section(TimeColumn, TIME, value, findings)
    if time is not None and time.zone is not None:
        try:
            ZoneInfo(time.zone)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            findings.add(TIME, "zone", time.zone, 'an IANA time zone name like "Europe/Madrid"')
    return time


def readings_from(path: Path, how: CsvMap) -> Imported:
    """What the file gives; raises UsageError where it cannot be read or no line can be used."""
    text, cut = csv_text(path)
    found = readings_from_text(text, str(path), how)
    return replace(found, skipped=[*found.skipped, *cut])


def readings_from_text(text: str, name: str, how: CsvMap) -> Imported:
    """Like `readings_from`, with the file's text and name."""
    rows = Rows(text, name, how.delimiter)
    _check_columns(rows.header or [], how, name)
    rows.drop_ragged()
    found: list[AnyReading] = []
    bare_rows = 0
    before_unix_s = -inf
    times: list[tuple[float, int]] = []
    for index, cells in enumerate(rows.rows):
        row = {key: cell.strip() for key, cell in zip(rows.header or [], cells, strict=True)}
        try:
            before_unix_s = _time(row, how.time, before_unix_s)
        except MappingError as error:
            rows.note(index, Fault(str(error), error.reason))
            continue
        times.append((before_unix_s, index))
        count, faults = len(found), []
        for one in how.readings:
            try:
                found += _reading(one, row, before_unix_s, how)
            except (MappingError, PayloadError) as error:
                faults.append(Fault(str(error), error.reason))
        for fault in faults:
            rows.note(index, fault)
        bare_rows += len(found) == count and not faults
    if rows.skipped and not found:
        raise UsageError(f"{name}: no line can be used\n{all_skipped_text(rows.skipped)}")
    moments = (Moment(unix_s, name, rows.line(index)) for unix_s, index in times)
    stretches = joined(Stretch(one, one) for one in moments)
    return Imported(sorted(found, key=attrgetter("unix_s")), rows.skipped, bare_rows, stretches)


def _check_columns(header: list[str], how: CsvMap, name: str) -> None:
    missing = [column for column in (*how.time.columns, *sources_of(how.readings)) if column not in header]
    if missing:
        raise UsageError(
            f"{name}, line 1: has no column {missing[0]!r}, which the map names; it has: {', '.join(header)};"
            " correct the map, or its delimiter"
        )


def _reading(one: ReadingMap, row: Mapping[str, str], unix_s: float, how: CsvMap) -> list[AnyReading]:
    def value_of(column: str) -> JsonValue:
        cell = row[column]
        if not cell or cell in how.empty:
            return None
        return cell.replace(how.decimal, ".") if _is_decimal(cell, how.decimal) else cell

    tree = fields_of(one, value_of)
    return [] if tree is None else [reading_of(one.kind, {TIME: unix_s, **tree})]


def _is_decimal(cell: str, decimal: str) -> bool:
    """Whether the cell is a number whose decimal mark is not the dot, perhaps with a unit behind it."""
    return decimal != "." and DECIMAL.fullmatch(cell.replace(decimal, ".")) is not None


def _time(row: Mapping[str, str], how: TimeColumn, before_unix_s: float) -> float:
    """The row's time; that of the row before tells the repeated hour of autumn from the first one."""
    text = " ".join(row[column] for column in how.columns)
    subject = f"time: {' and '.join(how.columns)}"
    unix_s = None if how.format is not None else unix_s_from_cell(text)
    if unix_s is not None:
        return unix_s
    try:
        moment = datetime.fromisoformat(text) if how.format is None else datetime.strptime(text, how.format)
    except ValueError:
        expected = "RFC 3339, Unix seconds or a local ISO time" if how.format is None else how.format
        raise MappingError(subject, repr(text), f"{expected}; say it in time.format") from None
    if moment.tzinfo is not None:
        return moment.timestamp()
    if how.zone is None:
        raise MappingError(subject, f"{text!r}, without an offset", "time.zone in the map")
    return _local(moment, ZoneInfo(how.zone), before_unix_s, subject)


def _local(moment: datetime, zone: ZoneInfo, before_unix_s: float, subject: str) -> float:
    first, second = (moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if datetime.fromtimestamp(first.timestamp(), zone).replace(tzinfo=None) != moment:
        raise MappingError(
            subject, f"{moment} in {zone}, where the clocks went forward over it", "a time that existed"
        )
    return first.timestamp() if first.timestamp() >= before_unix_s else second.timestamp()
