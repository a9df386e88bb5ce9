"""A CSV file with the column names of another program as readings, by a map that the user writes.

The map is TOML: how the time is written, and a table a kind as in `agent.inputs.mapping`, whose sources are
the columns:

    time = { column = "Date", format = "%d.%m.%Y %H:%M:%S", zone = "Europe/Madrid" }
    delimiter = ";"
    decimal = ","

    [[signal]]
    esno_db = "SNR"
"""

import csv
import io
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from annotated_types import MaxLen, MinLen

from agent.config_check import Findings, read_section, read_value
from agent.errors import UsageError
from agent.inputs.mapping import MappingError, ReadingMap, fields_of, reading_maps, sources_of
from agent.inputs.payloads import TIME, PayloadError, reading_of
from agent.records import AnyReading, JsonValue
from agent.replay.session_time import unix_s_from_cell

Character = Annotated[str, MinLen(1), MaxLen(1)]
FILE_KEYS = {"delimiter": ",", "decimal": "."}


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeColumn:
    """The column of the time. Without `format` RFC 3339, Unix seconds, or a local ISO time with `zone`."""

    column: str
    format: str | None = None
    zone: str | None = None


@dataclass(frozen=True, slots=True)
class CsvMap:
    """How to read one program's files."""

    time: TimeColumn
    delimiter: str
    decimal: str
    readings: tuple[ReadingMap, ...]


def csv_map(text: str, name: str) -> CsvMap:
    """The map in a TOML file's text; raises UsageError with one line for each thing to mend."""
    try:
        tree = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{name}: is not TOML: {error}; text stands in quotes, a key once") from None
    findings = Findings(name)
    time = _time_column(tree, findings)
    for key in FILE_KEYS:
        read_value(Character, "", key, {**FILE_KEYS, **tree}, findings)
    if findings.lines or time is None:
        raise UsageError("\n".join(findings.lines))
    tables = {key: value for key, value in tree.items() if key not in (TIME, *FILE_KEYS)}
    characters = {key: str(tree.get(key, usual)) for key, usual in FILE_KEYS.items()}
    return CsvMap(time, characters["delimiter"], characters["decimal"], tuple(reading_maps(tables, name)))


def _time_column(tree: Mapping[str, object], findings: Findings) -> TimeColumn | None:
    value = tree.get(TIME)
    if isinstance(value, str):
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


def readings_from(path: Path, how: CsvMap) -> list[AnyReading]:
    """The readings of the file in time order; raises UsageError with file and line."""
    try:
        text = path.read_bytes().decode("utf-8-sig")
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from None
    except UnicodeDecodeError as error:
        raise UsageError(f"{path}: is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    return readings_from_text(text, str(path), how)


def readings_from_text(text: str, name: str, how: CsvMap) -> list[AnyReading]:
    """Like `readings_from`, with the file's text and name."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=how.delimiter, strict=True)
    found: list[AnyReading] = []
    try:
        header = [cell.strip() for cell in next(reader, [])]
        _check_columns(header, how, name)
        for cells in reader:
            where = f"{name}, line {reader.line_num}"
            if len(cells) not in (0, len(header)):
                raise UsageError(f"{where}: {len(cells)} cells, expected {len(header)}; was it cut short?")
            if any(cell.strip() for cell in cells):
                found += _row(dict(zip(header, cells, strict=True)), how, where)
    except csv.Error as error:
        raise UsageError(f"{name}, line {reader.line_num}: is not CSV ({error})") from None
    return sorted(found, key=attrgetter("unix_s"))


def _check_columns(header: list[str], how: CsvMap, name: str) -> None:
    missing = [column for column in (how.time.column, *sources_of(how.readings)) if column not in header]
    if missing:
        raise UsageError(
            f"{name}, line 1: has no column {missing[0]!r}, which the map names; it has: {', '.join(header)};"
            " correct the map, or its delimiter"
        )


def _row(row: Mapping[str, str], how: CsvMap, where: str) -> list[AnyReading]:
    def value_of(column: str) -> JsonValue:
        cell = row.get(column, "").strip()
        return cell.replace(how.decimal, ".") if _is_decimal(cell, how.decimal) else cell or None

    found = []
    try:
        for one in how.readings:
            tree = fields_of(one, value_of)
            if tree is not None:
                found.append(reading_of(one.kind, {TIME: _time(row, how.time), **tree}))
    except (MappingError, PayloadError) as error:
        raise UsageError(f"{where}: {error}") from None
    return found


def _is_decimal(cell: str, decimal: str) -> bool:
    """Whether the cell is a number whose decimal mark is not the dot."""
    return decimal != "." and cell.count(decimal) == 1 and cell.replace(decimal, "").lstrip("+-").isdecimal()


def _time(row: Mapping[str, str], how: TimeColumn) -> float:
    text = row.get(how.column, "").strip()
    unix_s = None if how.format is not None else unix_s_from_cell(text)
    if unix_s is not None:
        return unix_s
    try:
        moment = datetime.fromisoformat(text) if how.format is None else datetime.strptime(text, how.format)
    except ValueError:
        expected = "RFC 3339, Unix seconds or a local ISO time" if how.format is None else how.format
        raise MappingError(
            f"time: {how.column} is {text!r}; expected {expected}; say it in time.format"
        ) from None
    if moment.tzinfo is None:
        if how.zone is None:
            raise MappingError(
                f"time: {how.column} is {text!r}, without an offset; name the time.zone in the map"
            )
        moment = moment.replace(tzinfo=ZoneInfo(how.zone))
    return moment.timestamp()
