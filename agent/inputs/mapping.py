"""Readings from the words of other devices: which value becomes which field, with its scale and offset. Pure.

A map is a table of TOML a kind: `esno_db = "SNR"` takes the value called SNR as it is; a table in its place
has `source`, and `scale` and `offset`, or `words`; `constant` is for what the device does not say:

    [[temperature]]
    where = { constant = "transmitter" }
    temperature_degc = { source = "PA temp F", scale = 0.55556, offset = -17.7778 }

What a source is, the name of a column or a pointer into a message, is the caller's matter.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, field

from agent.config_check import Findings, allowed_text, from_text, known_fields, read_section, report_unknown
from agent.errors import UsageError
from agent.inputs.payloads import ONE_OF
from agent.records import KINDS, JsonValue
from agent.store.schema import own_fields

ValueOf = Callable[[str], JsonValue]


class MappingError(ValueError):
    """A value that cannot be taken over; the text says which, and what was expected."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldMap:
    """Where one field comes from: a constant, or a source by `words`, else times `scale` plus `offset`."""

    source: str | None = None
    constant: bool | float | str | None = None
    scale: float = 1.0
    offset: float = 0.0
    words: Mapping[str, bool | float | str] = field(default_factory=dict)

    @property
    def converts(self) -> bool:
        """Whether the value has to be a number."""
        return (self.scale, self.offset) != (1.0, 0.0)


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
    report_unknown("", tree, list(KINDS), findings)
    maps = [
        _reading_map(kind, table, findings)
        for kind in KINDS
        for table in _tables(kind, tree.get(kind, []), findings)
    ]
    if not maps and not findings.lines:
        findings.missing("", "a table", f"one of {', '.join(f'[[{kind}]]' for kind in KINDS)}")
    if findings.lines:
        raise UsageError("\n".join(findings.lines))
    return maps


def _tables(kind: str, value: object, findings: Findings) -> list[Mapping[str, object]]:
    tables: list[Mapping[str, object]] = []
    for table in value if isinstance(value, list) else [value]:
        if not isinstance(table, dict):
            findings.add("", kind, value, f"a table [[{kind}]] with its fields below it")
            return []
        tables.append(table)
    return tables


def _reading_map(kind: str, table: Mapping[str, object], findings: Findings) -> ReadingMap:
    known = list(own_fields(kind))
    report_unknown(kind, table, known, findings)
    read = {key: _field_map(kind, key, value, findings) for key, value in table.items() if key in known}
    found = {key: one for key, one in read.items() if one is not None}
    if not findings.lines and not any(one.source for one in found.values()):
        findings.add("", kind, sorted(table), "at least one field with a source")
    for names in _needed(kind):
        if not findings.lines and not any(name in found for name in names):
            findings.missing(kind, names[0], f"a source for {' or '.join(names)}")
    return ReadingMap(kind=kind, fields=found)


def _needed(kind: str) -> list[tuple[str, ...]]:
    """Groups of fields of which a reading has at least one each."""
    items = KINDS[kind].__dataclass_fields__
    required: list[tuple[str, ...]] = [(name,) for name in own_fields(kind) if items[name].default is MISSING]
    return [*required, ONE_OF[kind]] if kind in ONE_OF else required


def _field_map(kind: str, key: str, value: object, findings: Findings) -> FieldMap | None:
    if isinstance(value, str):
        return FieldMap(source=value)
    section = f"{kind}.{key}"
    if not isinstance(value, dict):
        findings.add("", section, value, "the name of a source in quotes, or a table with source or constant")
        return None
    one = read_section(FieldMap, section, value, findings)
    if one is not None and (one.source is None) == (one.constant is None):
        findings.add("", section, value, "either source or constant")
        return None
    return one


def fields_of(one: ReadingMap, value_of: ValueOf) -> dict[str, JsonValue] | None:
    """The fields of a reading, for `payloads.reading_of`; None where the row or message has none.

    That is so where no source has a value, or none of those without which there is no reading.
    `value_of` gives a source's value, None where there is none. Raises MappingError.
    """
    found: dict[str, JsonValue] = {}
    measured = False
    for name, how in one.fields.items():
        if how.source is None:
            found[name] = how.constant
            continue
        value = value_of(how.source)
        if value is not None:
            found[name] = _value(one.kind, name, how, value)
            measured = True
    complete = all(any(name in found for name in names) for names in _needed(one.kind))
    return found if measured and complete else None


def _value(kind: str, name: str, how: FieldMap, value: JsonValue) -> JsonValue:
    if isinstance(value, str | int | float) and str(value) in how.words:
        return how.words[str(value)]
    hint, plain = known_fields(KINDS[kind])[name], own_fields(kind)[name]
    read = from_text(hint, value) if isinstance(value, str) else value
    number = isinstance(read, int | float) and not isinstance(read, bool)
    if isinstance(read, dict | list) or (not number and (how.converts or how.words)):
        allowed = _expected(how, allowed_text(hint))
        raise MappingError(f"{kind}.{name}: {how.source} is {value!r}; expected {allowed}")
    if not isinstance(read, int | float) or isinstance(read, bool):
        return read if isinstance(read, bool) else str(read)
    if plain is str:
        return str(value)
    result = read * how.scale + how.offset if how.converts else read
    return round(result) if plain is int and result == round(result) else result


def _expected(how: FieldMap, allowed: str) -> str:
    if how.words:
        return f"one of {', '.join(how.words)}"
    return f"a number that becomes {allowed}" if how.converts else allowed


def sources_of(maps: Sequence[ReadingMap]) -> list[str]:
    """Every source once, in the order of the maps."""
    return list(dict.fromkeys(source for one in maps for source in one.sources))
