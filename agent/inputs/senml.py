"""Sensor Measurement Lists in JSON: base fields resolved into each record (RFC 8428). Pure."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from agent.records import JsonValue

# RFC 8428, section 4.4: the version that a record without `bver` has.
VERSION = 10
# RFC 8428, section 4.5.3: smaller times are seconds from now.
RELATIVE_BELOW_S = 2**28
BASES = ("bn", "bt", "bu", "bv", "bs", "bver")
# Labels that must be understood end in it (RFC 8428, section 4.4).
MANDATORY = "_"


class SenmlError(ValueError):
    """No SenML pack; the text says what, got and expected."""


@dataclass(frozen=True, slots=True)
class Record:
    """One resolved record; `unix_s` None: the sender has no clock and means now. `value` None: only a sum."""

    name: str
    unit: str | None
    value: bool | float | str | None
    unix_s: float | None


def resolved(pack: JsonValue, now_unix_s: float) -> list[Record]:
    """The records of a pack (RFC 8428, section 4.6). Raises SenmlError."""
    if not isinstance(pack, list) or not pack:
        raise SenmlError("the payload is no list; expected a SenML pack: a list of records")
    bases: dict[str, JsonValue] = {}
    found = []
    for number, record in enumerate(pack, 1):
        if not isinstance(record, dict):
            raise SenmlError(f"record {number} is no object; expected one such as {{'n': 'a', 'v': 1}}")
        bases |= {label: record[label] for label in BASES if label in record}
        _check_understood(number, record)
        found.append(_record(number, record, bases, now_unix_s))
    return found


def _check_understood(number: int, record: Mapping[str, JsonValue]) -> None:
    if record.get("bver", VERSION) not in range(1, VERSION + 1):
        raise SenmlError(f"record {number}: bver is {record['bver']}; expected at most {VERSION}")
    unknown = next((label for label in record if label.endswith(MANDATORY)), None)
    if unknown is not None:
        raise SenmlError(f"record {number}: {unknown} must be understood and is not; leave it out")


def _record(
    number: int, record: Mapping[str, JsonValue], bases: Mapping[str, JsonValue], now_unix_s: float
) -> Record:
    name = _text(number, "bn", bases) + _text(number, "n", record)
    if not name:
        raise SenmlError(f"record {number} has no name; expected n or bn")
    unit = _text(number, "u", record) or _text(number, "bu", bases)
    time_s = _number(number, "bt", bases) + _number(number, "t", record)
    unix_s = time_s if time_s >= RELATIVE_BELOW_S else now_unix_s + time_s
    has_time = "bt" in bases or "t" in record
    return Record(name, unit or None, _value(number, record, bases), unix_s if has_time else None)


def _value(
    number: int, record: Mapping[str, JsonValue], bases: Mapping[str, JsonValue]
) -> bool | float | str | None:
    for label in ("vs", "vd"):
        if label in record:
            return _text(number, label, record)
    if "vb" in record:
        value = record["vb"]
        if not isinstance(value, bool):
            raise SenmlError(f"record {number}: vb is {value!r}; expected true or false")
        return value
    if "v" in record or "bv" in bases:
        return _number(number, "bv", bases) + _number(number, "v", record)
    return None


def _text(number: int, label: str, record: Mapping[str, JsonValue]) -> str:
    value = record.get(label, "")
    if not isinstance(value, str):
        raise SenmlError(f"record {number}: {label} is {value!r}; expected text in quotes")
    return value


def _number(number: int, label: str, record: Mapping[str, JsonValue]) -> float:
    value = record.get(label, 0.0)
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise SenmlError(f"record {number}: {label} is {value!r}; expected a number")
    return value
