"""Checks one section of a config against its record and words what is wrong, with the likely slip."""

import difflib
import json
import re
from collections.abc import Mapping
from dataclasses import MISSING, dataclass, field, fields
from types import NoneType, UnionType
from typing import TYPE_CHECKING, Annotated, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from annotated_types import Interval, MaxLen, MinLen
from pydantic import ConfigDict, TypeAdapter, ValidationError
from typing_extensions import TypeForm

from agent.config_slips import converted, likely_slip, stem

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

# A misspelt secret must not be printed either.
SECRET_KEYS = re.compile("pass|pwd|secret|token|credential", re.IGNORECASE)
MASK = "********"


RecordT = TypeVar("RecordT", bound="DataclassInstance")


@dataclass(frozen=True, slots=True)
class Findings:
    """Collects one line for each thing to mend. `origins` names the variable a key's value came from."""

    file: str
    origins: Mapping[tuple[str, str], str] = field(default_factory=dict)
    lines: list[str] = field(default_factory=list)

    def add(self, section: str, key: str, value: object, allowed: str, slip: str | None = None) -> None:
        """Note that `value` will not do and what would."""
        origin = self.origins.get((section, key))
        place = f"{self.file} ({origin})" if origin else self.file
        shown = MASK if SECRET_KEYS.search(key) and not key.endswith("_file") else written(value)
        name = f"{section}.{key}" if section else key
        hint = f"; {slip}" if slip else ""
        self.lines.append(f"{place}: {name} = {shown}: allowed is {allowed}{hint}")

    def missing(self, section: str, key: str, allowed: str) -> None:
        """Note that a required key is absent."""
        name = f"{section}.{key}" if section else key
        self.lines.append(f"{self.file}: {name} is missing: allowed is {allowed}")


def written(value: object) -> str:
    """A value as the config file would have it."""
    if isinstance(value, float):
        return f"{value:.15g}"
    return json.dumps(value, ensure_ascii=False, default=str)


def allowed_text(hint: object) -> str:
    """What a field of this annotated type may hold, in words."""
    if get_origin(hint) is Annotated:
        base, *metadata = get_args(hint)
        return _constrained(base, metadata)
    if get_origin(hint) is Literal:
        return " or ".join(json.dumps(choice) for choice in get_args(hint))
    if get_origin(hint) in (Union, UnionType):
        return " or ".join(allowed_text(part) for part in get_args(hint) if part is not NoneType)
    if get_origin(hint) is list:
        return f"a list in brackets, each {allowed_text(get_args(hint)[0])}"
    words = {float: "a number", int: "a whole number", str: "text in quotes", bool: "true or false"}
    return words[hint] if isinstance(hint, type) and hint in words else "text in quotes"


def _constrained(base: object, metadata: list[object]) -> str:
    for rule in metadata:
        if isinstance(rule, Interval):
            low = f"more than {rule.gt:g}" if rule.gt is not None else f"{rule.ge:g}"
            return f"a number from {low} to {rule.le:g}"
    lengths = [rule for rule in metadata if isinstance(rule, MinLen | MaxLen)]
    if lengths:
        most = next((rule.max_length for rule in lengths if isinstance(rule, MaxLen)), None)
        return f"text in quotes of 1 to {most} characters"
    return allowed_text(base)


def known_fields(kind: "type[DataclassInstance]") -> dict[str, TypeForm[object]]:
    """The fields of a record with their annotated types."""
    hints = get_type_hints(kind, include_extras=True)
    return {item.name: hints[item.name] for item in fields(kind)}


def report_unknown(section: str, values: Mapping[str, object], known: list[str], findings: Findings) -> None:
    """Note every key that is not known, with the nearest one that is."""
    for key in values:
        if key in known:
            continue
        nearest = _nearest(key, known)
        slip = f"did you mean {nearest}?" if nearest else None
        conversion = converted(key, nearest, values[key]) if nearest else None
        if conversion:
            slip = f"{slip} {conversion}"
        value = MASK if nearest and SECRET_KEYS.search(nearest) else values[key]
        findings.add(section, key, value, "only " + ", ".join(known), f"the key is not known{_tail(slip)}")


def _tail(slip: str | None) -> str:
    return f": {slip}" if slip else ""


def _nearest(key: str, known: list[str]) -> str | None:
    same_stem = [name for name in known if stem(name) == stem(key)]
    close = same_stem or difflib.get_close_matches(key.lower(), known, n=1, cutoff=0.6)
    return close[0] if close else None


def read_section(
    kind: type[RecordT], section: str, values: Mapping[str, object], findings: Findings
) -> RecordT | None:
    """The section as its record, or None with every wrong, missing and unknown key noted in `findings`."""
    known = known_fields(kind)
    report_unknown(section, values, list(known), findings)
    required = {
        item.name for item in fields(kind) if item.default is MISSING and item.default_factory is MISSING
    }
    for key in known:
        if key in required and key not in values:
            findings.missing(section, key, allowed_text(known[key]))
    complete = required <= values.keys()
    checked = {key: read_value(known[key], section, key, values, findings) for key in known if key in values}
    if not complete or any(value is _REFUSED for value in checked.values()):
        return None
    return kind(**checked)


_REFUSED = object()
_CONFIG = ConfigDict(strict=True, allow_inf_nan=False)


def read_value(
    hint: TypeForm[object], section: str, key: str, values: Mapping[str, object], findings: Findings
) -> object:
    """The checked value of one key, or a mark of refusal with what is wrong noted in `findings`."""
    try:
        return TypeAdapter[object](hint, config=_CONFIG).validate_python(values[key])
    except ValidationError:
        slip = likely_slip(key, values[key], values)
        findings.add(section, key, values[key], allowed_text(hint), slip)
        return _REFUSED


def from_text(hint: TypeForm[object], text: str) -> object:
    """Text from a variable or an answer as a value of this type.

    A number that the type does not allow stays a number, anything else stays text: the check names it.
    """
    try:
        return TypeAdapter[object](hint).validate_strings(text)
    except ValidationError:
        return _number_or_text(text) if "number" in allowed_text(hint) else text


def _number_or_text(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text
