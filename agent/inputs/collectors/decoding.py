"""Payloads of other devices as values that a map takes by name: JSON, a number, SenML, or text. Pure."""

import json
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf
from typing import Literal

from jsonpointer import EndOfList, JsonPointer, JsonPointerException

from agent.inputs.collectors.frame import CollectorError
from agent.inputs.payloads import MAX_PAYLOAD_BYTES
from agent.inputs.senml import Record, SenmlError, resolved
from agent.records import JsonValue

Format = Literal["json", "number", "senml", "text"]
NUMBER = "value"  # the source in a payload that is one number
MAX_NAMES = 40
SHOWN_CHARACTERS = 60


class PayloadRefused(CollectorError):
    """The payload is not what the map says."""


@dataclass(frozen=True, slots=True)
class Values:
    """What a payload holds: `value_of` a source, and the `names` that it could have."""

    value_of: Callable[[str], JsonValue]
    names: tuple[str, ...]
    units: Mapping[str, str]
    unix_s: float | None = None


def decode(kind: Format, pattern: re.Pattern[str] | None, payload: bytes, now_unix_s: float) -> Values:
    """The values in a payload; raises PayloadRefused."""
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise PayloadRefused(f"{len(payload)} bytes came; expected at most {MAX_PAYLOAD_BYTES}")
    try:
        text = payload.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise PayloadRefused(f"byte {error.start} is no UTF-8 text: {_shown(payload)}") from None
    if kind == "json":
        return _json_values(_json(text))
    if kind == "senml":
        return _senml_values(_json(text), now_unix_s)
    return _number_values(text) if kind == "number" else _text_values(pattern, text)


def _json(text: str) -> JsonValue:
    try:
        tree: JsonValue = json.loads(text)
    except RecursionError:
        raise PayloadRefused("values are nested too deep") from None
    except ValueError as error:
        raise PayloadRefused(f"this is no JSON ({error}): {_shown(text)}") from None
    return tree


def _json_values(tree: JsonValue) -> Values:
    """Sources are JSON Pointers (RFC 6901)."""

    def value_of(pointer: str) -> JsonValue:
        try:
            found: JsonValue | EndOfList = JsonPointer(pointer).resolve(tree, None)
        except JsonPointerException:
            # A letter where the document has a list: the same as nothing there.
            return None
        return None if isinstance(found, EndOfList) else found

    return Values(value_of, tuple(leaves(tree)), {})


def leaves(tree: JsonValue) -> list[str]:
    """Pointers to the plain values of a document, at most MAX_NAMES."""
    found: list[str] = []
    waiting: list[tuple[str, JsonValue]] = [("", tree)]
    while waiting and len(found) < MAX_NAMES:
        pointer, value = waiting.pop()
        if isinstance(value, dict):
            inner = [(key.replace("~", "~0").replace("/", "~1"), one) for key, one in value.items()]
        elif isinstance(value, list):
            inner = [(str(index), one) for index, one in enumerate(value)]
        else:
            found.append(pointer)
            continue
        waiting.extend((f"{pointer}/{key}", one) for key, one in reversed(inner))
    return found


def pointer_error(pointer: str) -> str | None:
    """What is wrong with a JSON Pointer; None where it is one."""
    try:
        JsonPointer(pointer)
    except JsonPointerException:
        return 'a JSON Pointer (RFC 6901) such as "/rx/esno"'
    return None


def _number_values(text: str) -> Values:
    try:
        number = float(text)
    except ValueError:
        raise PayloadRefused(f"this is no number: {_shown(text)}") from None
    return Values({NUMBER: number}.get, (NUMBER,), {})


def _text_values(pattern: re.Pattern[str] | None, text: str) -> Values:
    """Sources are the named groups of the pattern."""
    match = None if pattern is None else pattern.search(text)
    if match is None:
        raise PayloadRefused(f"the pattern does not match: {_shown(text)}")
    groups: dict[str, JsonValue] = dict(match.groupdict())
    return Values(groups.get, tuple(groups), {})


def _senml_values(pack: JsonValue, now_unix_s: float) -> Values:
    """Sources are names, or a name, a space and the unit where one name has several; the latest counts."""
    try:
        records = [one for one in resolved(pack, now_unix_s) if one.value is not None]
    except SenmlError as error:
        raise PayloadRefused(str(error)) from None
    records.sort(key=_time)
    values: dict[str, JsonValue] = {}
    units: dict[str, str] = {}
    for one in records:
        for name in (one.name, f"{one.name} {one.unit}") if one.unit else (one.name,):
            values[name] = one.value
            if one.unit:
                units[name] = one.unit
    times = [one.unix_s for one in records if one.unix_s is not None]
    return Values(values.get, tuple(values)[:MAX_NAMES], units, max(times) if times else None)


def _time(record: Record) -> float:
    return -inf if record.unix_s is None else record.unix_s


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}..."
