"""Readings from the words of other devices: which value becomes which field, with its scale and offset. Pure.

A map is a table of TOML a kind: `esno_db = "SNR"` takes the value called SNR as it is; a table in its place
has `source`, and `unit`, `scale` and `offset`, or `words`; `constant` is for what the device does not say:

    [[temperature]]
    where = { constant = "transmitter" }
    temperature_degc = { source = "PA temp F", unit = "degF" }

What a source is, the name of a column or a pointer into a message, is the caller's matter.
"""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, field, replace

from agent.config_check import Findings, allowed_text, from_text, known_fields, read_section, report_unknown
from agent.errors import UsageError
from agent.inputs.payloads import ONE_OF
from agent.inputs.units import units_of
from agent.records import KINDS, SENT_KINDS, JsonValue
from agent.store.schema import own_fields

ValueOf = Callable[[str], JsonValue]
UnitOf = Callable[[str], str | None]


class MappingError(ValueError):
    """A value that cannot be taken over; the text says which, and what was expected.

    `reason` is the same without the value, to count by.
    """

    def __init__(self, subject: str, got: str, expected: str) -> None:
        super().__init__(f"{subject} is {got}; expected {expected}")
        self.reason = f"{subject}: expected {expected}"


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldMap:
    """Where one field comes from: a constant, or a source by `words`, else times `scale` plus `offset`.

    The result is in `unit`, or in the field's own unit where none is named. Of a text, `pattern` takes what
    its one group matches, such as the number of "41.5 C".
    """

    source: str | None = None
    constant: bool | float | str | None = None
    scale: float = 1.0
    offset: float = 0.0
    unit: str | None = None
    words: Mapping[str, bool | float | str] = field(default_factory=dict)
    pattern: str | None = None

    @property
    def converts(self) -> bool:
        """Whether the value has to be a number."""
        return (self.scale, self.offset) != (1.0, 0.0) or self.unit is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingMap:
    """One kind of reading out of one row or message."""

    kind: str
    fields: Mapping[str, FieldMap]

    @property
    def sources(self) -> list[str]:
        """The names of the values that it takes."""
        return [one.source for one in self.fields.values() if one.source is not None]


def reading_maps(tree: Mapping[str, object], name: str) -> list[ReadingMap]:
    """The maps in a parsed TOML file, of which `tree` holds the kinds' tables; `name` stands in the messages.

    Raises UsageError with one line for each thing to mend.
    """
    findings = Findings(name)
    maps = read_maps(tree, "", findings)
    if findings.lines:
        raise UsageError("\n".join(findings.lines))
    return maps


def read_maps(tree: Mapping[str, object], section: str, findings: Findings) -> list[ReadingMap]:
    """The maps in the section of a TOML file; what is wrong is noted in `findings`."""
    own = Findings(findings.file)
    report_unknown(section, tree, list(SENT_KINDS), own)
    maps = [
        _reading_map(kind, _name(section, kind), table, own)
        for kind in SENT_KINDS
        for table in _tables(kind, section, tree.get(kind, []), own)
    ]
    if not maps and not own.lines:
        own.missing(
            section, "a table", f"one of {', '.join(f'[[{_heading(section, kind)}]]' for kind in SENT_KINDS)}"
        )
    findings.lines.extend(own.lines)
    return maps


def _name(section: str, key: str) -> str:
    return f"{section}.{key}" if section else key


def _heading(section: str, key: str) -> str:
    """As it stands in the file, where tables of an array have no numbers."""
    return re.sub(r"\[\d+\]", "", _name(section, key))


def _tables(kind: str, section: str, value: object, findings: Findings) -> list[Mapping[str, object]]:
    tables: list[Mapping[str, object]] = []
    for table in value if isinstance(value, list) else [value]:
        if not isinstance(table, dict):
            findings.add(
                section, kind, value, f"a table [[{_heading(section, kind)}]] with its fields below it"
            )
            return []
        tables.append(table)
    return tables


def _reading_map(kind: str, section: str, table: Mapping[str, object], findings: Findings) -> ReadingMap:
    known = list(own_fields(kind))
    report_unknown(section, table, known, findings)
    read = {key: _field_map(section, key, value, findings) for key, value in table.items() if key in known}
    found = {key: one for key, one in read.items() if one is not None}
    if not findings.lines and not any(one.source for one in found.values()):
        findings.add("", section, sorted(table), "at least one field with a source")
    for names in _needed(kind):
        if not findings.lines and not any(name in found for name in names):
            findings.missing(section, names[0], f"a source for {' or '.join(names)}")
    return ReadingMap(kind=kind, fields=found)


def _needed(kind: str) -> list[tuple[str, ...]]:
    """Groups of fields of which a reading has at least one each."""
    items = KINDS[kind].__dataclass_fields__
    required: list[tuple[str, ...]] = [(name,) for name in own_fields(kind) if items[name].default is MISSING]
    return [*required, ONE_OF[kind]] if kind in ONE_OF else required


def _field_map(kind_section: str, key: str, value: object, findings: Findings) -> FieldMap | None:
    if isinstance(value, str):
        return FieldMap(source=value)
    section = f"{kind_section}.{key}"
    if not isinstance(value, dict):
        findings.add("", section, value, "the name of a source in quotes, or a table with source or constant")
        return None
    one = read_section(FieldMap, section, value, findings)
    if one is not None and (one.source is None) == (one.constant is None):
        findings.add("", section, value, "either source or constant")
        return None
    if one is not None and one.pattern is not None and not _has_one_group(one.pattern):
        findings.add(
            section, "pattern", one.pattern, "a regular expression with one group, like '([-+.0-9]+)'"
        )
        return None
    if one is not None and one.unit is not None and one.unit not in units_of(key):
        allowed = f"one of {', '.join(units_of(key))}" if units_of(key) else "no unit: this field has none"
        findings.add(section, "unit", one.unit, allowed)
        return None
    return one


def _has_one_group(pattern: str) -> bool:
    try:
        return re.compile(pattern).groups == 1
    except re.error:
        return False


def no_unit(_: str) -> str | None:
    """The unit of a source that does not tell it."""
    return None


def fields_of(one: ReadingMap, value_of: ValueOf, unit_of: UnitOf = no_unit) -> dict[str, JsonValue] | None:
    """The fields of a reading, for `payloads.reading_of`; None where the row or message has none.

    That is so where no source has a value, or none of those without which there is no reading.
    `value_of` gives a source's value, None where there is none, and `unit_of` the unit that the source itself
    tells, which counts where the map names none. Raises MappingError.
    """
    found: dict[str, JsonValue] = {}
    measured = False
    for name, how in one.fields.items():
        if how.source is None:
            found[name] = how.constant
            continue
        value = value_of(how.source)
        if value is not None:
            found[name] = _value(one.kind, name, _with_unit(one.kind, name, how, unit_of), value)
            measured = True
    complete = all(any(name in found for name in names) for names in _needed(one.kind))
    return found if measured and complete else None


def _with_unit(kind: str, name: str, how: FieldMap, unit_of: UnitOf) -> FieldMap:
    told = None if how.source is None else unit_of(how.source)
    if how.unit is not None or told is None or (how.scale, how.offset) != (1.0, 0.0) or not units_of(name):
        return how
    if told not in units_of(name):
        raise MappingError(
            f"{kind}.{name}: {how.source}", f"in {told}", f"one of {', '.join(units_of(name))}"
        )
    return replace(how, unit=told)


def _value(kind: str, name: str, how: FieldMap, value: JsonValue) -> JsonValue:
    if how.pattern is not None and isinstance(value, str):
        match = re.search(how.pattern, value)
        if match is None:
            raise MappingError(f"{kind}.{name}: {how.source}", repr(value), f"text with {how.pattern}")
        value = match[1]
    if isinstance(value, str | int | float) and str(value) in how.words:
        return how.words[str(value)]
    hint, plain = known_fields(KINDS[kind])[name], own_fields(kind)[name]
    read = from_text(hint, value) if isinstance(value, str) else value
    number = isinstance(read, int | float) and not isinstance(read, bool)
    if isinstance(read, dict | list) or (not number and (how.converts or how.words)):
        allowed = _expected(how, allowed_text(hint))
        raise MappingError(f"{kind}.{name}: {how.source}", repr(value), allowed)
    if not isinstance(read, int | float) or isinstance(read, bool):
        return read if isinstance(read, bool) else str(read)
    if plain is str:
        return str(value)
    result = _converted(name, how, read) if how.converts else read
    return round(result) if plain is int and result == round(result) else result


def _converted(name: str, how: FieldMap, value: float) -> float:
    factor, offset = (1.0, 0.0) if how.unit is None else units_of(name)[how.unit]
    return (value * how.scale + how.offset) * factor + offset


def _expected(how: FieldMap, allowed: str) -> str:
    if how.words:
        return f"one of {', '.join(how.words)}"
    return f"a number that becomes {allowed}" if how.converts else allowed


def sources_of(maps: Sequence[ReadingMap]) -> list[str]:
    """Every source once, in the order of the maps."""
    return list(dict.fromkeys(source for one in maps for source in one.sources))
