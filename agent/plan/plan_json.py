"""The link plan as JSON and back: the layout of `peakshade plan --json` and of the stored plan.

Field names are the keys, but a time `x_unix_s` is written as `x`, RFC 3339 in UTC to the microsecond. A value
that is not defined (NaN) is null.
"""

from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime
from math import isnan, nan
from types import NoneType
from typing import TypeVar, get_args, get_origin, get_type_hints

from agent.link_plan import LinkPlan
from agent.records import JsonValue

TIME_ENDING = "_unix_s"

PartT = TypeVar("PartT")


def plan_to_json(plan: LinkPlan) -> dict[str, JsonValue]:
    """The plan as a JSON object; the uplink names the satellite's G/T a second time as what it is."""
    tree = _object(plan)
    uplink = tree["uplink"]
    if isinstance(uplink, dict):
        uplink["satellite_gt_dbk"] = uplink["gt_dbk"]
    return tree


def plan_from_json(tree: JsonValue) -> LinkPlan:
    """The plan of such an object; unknown keys are left alone. Raises ValueError where it is no plan."""
    return _part(LinkPlan, tree)


def _object(part: object) -> dict[str, JsonValue]:
    if not is_dataclass(part):
        raise TypeError(f"a part of the plan is a record, not {part!r}")
    tree: dict[str, JsonValue] = {}
    for item in fields(part):
        value = getattr(part, item.name)
        if item.name.endswith(TIME_ENDING) and value is not None:
            value = datetime.fromtimestamp(value, UTC).isoformat().replace("+00:00", "Z")
        tree[item.name.removesuffix(TIME_ENDING)] = _json(value)
    return tree


def _json(value: object) -> JsonValue:
    if isinstance(value, tuple):
        return [_json(one) for one in value]
    if isinstance(value, float):
        return None if isnan(value) else value
    if value is None or isinstance(value, bool | int | str):
        return value
    return _object(value)


def _part(kind: type[PartT], tree: JsonValue) -> PartT:
    if not isinstance(tree, Mapping):
        raise ValueError(f"{kind.__name__} of the plan must be an object, not {tree!r}")
    values: dict[str, object] = {}
    for name, hint in get_type_hints(kind).items():
        key = name.removesuffix(TIME_ENDING)
        if key not in tree:
            raise ValueError(f"{kind.__name__} of the plan lacks {key}")
        read = _time if key != name else _value
        values[name] = read(hint, tree[key], f"{kind.__name__}.{key}")
    return kind(**values)


def _time(hint: object, value: JsonValue, where: str) -> float | None:
    if value is None and NoneType in get_args(hint):
        return None
    if not isinstance(value, str):
        raise ValueError(f"{where} of the plan must be a time, not {value!r}")
    return datetime.fromisoformat(value).timestamp()


def _value(hint: object, value: JsonValue, where: str) -> object:
    if get_origin(hint) is tuple and isinstance(value, list):
        return tuple(_value(get_args(hint)[0], one, where) for one in value)
    if value is None:
        return _missing(hint, where)
    choices = [one for one in get_args(hint) if one is not NoneType] or [hint]
    for choice in choices:
        if isinstance(choice, type) and is_dataclass(choice):
            return _part(choice, value)
        if choice is int and type(value) is int:
            return value
        if choice is float and isinstance(value, int | float) and not isinstance(value, bool):
            return float(value)
        if choice == value or (choice in (str, bool) and type(value) is choice):
            return value
    raise ValueError(f"{where} of the plan cannot be {value!r}")


def _missing(hint: object, where: str) -> float | None:
    if NoneType in get_args(hint):
        return None
    if hint is float:
        return nan
    raise ValueError(f"{where} of the plan is missing")
