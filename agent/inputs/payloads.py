"""One MQTT payload to one reading, or a sentence that says what is wrong with it. Pure."""

import difflib
import json
import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import MISSING, fields
from datetime import datetime
from functools import cache
from typing import Any, NotRequired, cast

from pydantic import ConfigDict, TypeAdapter, ValidationError, with_config
from typing_extensions import TypedDict

from agent.config_check import allowed_text, known_fields
from agent.records import KINDS, SENT_KINDS, UNDO, AnyReading, JsonValue, Reading

TIME = "time"
# Times of a message that was stamped anew on its way: what its sender had claimed.
SENT_TIME = "sent_time"
TIMES = (TIME, SENT_TIME)
ONE_OF: Mapping[str, tuple[str, ...]] = {
    "signal": (
        "locked",
        "esno_db",
        "cn_db",
        "quality_percent",
        "uplink_esno_db",
        "rx_level_dbm",
        "tx_power_dbm",
    ),
    "throughput": ("down_mbps", "up_mbps"),
    "reach": ("rtt_ms", "loss_percent"),
}
# A reading has a few hundred bytes; this is what a broken device may cost.
MAX_PAYLOAD_BYTES = 65_536
MAX_NESTING = 16
SHOWN_CHARACTERS = 60
# 2000 to 2100: outside is another unit, or a clock that was never set.
EARLIEST_UNIX_S = 946_684_800.0
LATEST_UNIX_S = 4_102_444_800.0
TIME_UNITS = {1000: "milliseconds", 1_000_000: "microseconds", 1_000_000_000: "nanoseconds"}
EXPECTED_TIME = 'RFC 3339 with its offset such as "2026-07-18T09:00:00Z", or Unix seconds'
RFC_3339 = re.compile(
    r"(\d{4}-\d{2}-\d{2})[Tt ](\d{2}:\d{2}):(\d{2})(\.\d+)?([Zz]|[+-]\d{2}:\d{2})?", re.ASCII
)


class PayloadError(ValueError):
    """The message is refused; the text says what, where, got, expected and what to do.

    `reason` is the same without what was got, to count by.
    """

    def __init__(self, text: str, reason: str | None = None) -> None:
        super().__init__(text)
        self.reason = text if reason is None else reason


def parse(kind: str, payload: bytes) -> AnyReading:
    """The reading in a payload of this kind; `unix_s` is the time its sender claims.

    Fields that the kind does not have go to `extra`. Raises PayloadError.
    """
    if kind not in SENT_KINDS:
        nearest = difflib.get_close_matches(kind, SENT_KINDS, n=1)
        hint = f"did you mean {nearest[0]}?" if nearest else "publish to peakshade/TERMINAL/KIND"
        raise PayloadError(f"topic: kind is {_shown(kind)}; expected one of {', '.join(SENT_KINDS)}; {hint}")
    return reading_of(kind, _object(kind, payload))


def reading_of(kind: str, tree: Mapping[str, JsonValue]) -> AnyReading:
    """The reading in an object of this kind's fields and its time; raises PayloadError."""
    unix_s = _time(kind, TIME, tree)
    sent_unix_s = _time(kind, SENT_TIME, tree) if SENT_TIME in tree else None
    names = _own_names(kind)
    own = {name: value for name, value in tree.items() if name in names}
    extra = {name: value for name, value in tree.items() if name not in names and name not in TIMES}
    if extra:
        _check_nesting(kind, extra)
    _check_one_of(kind, tree)
    try:
        valid = _adapter(kind).validate_python(own)
    except ValidationError as error:
        raise PayloadError(_field_message(kind, error), _field_reason(kind, error)) from None
    if valid.get("kind") == UNDO and valid.get("id") is None:
        raise PayloadError(
            f"{kind}: id is missing; expected the id of the note that {UNDO} takes back; add it"
        )
    return KINDS[kind](unix_s=unix_s, sent_unix_s=sent_unix_s, extra=extra, **valid)


@cache
def _own_names(kind: str) -> frozenset[str]:
    shared = {item.name for item in fields(Reading)}
    return frozenset(item.name for item in fields(KINDS[kind])) - shared


@cache
def _adapter(kind: str) -> TypeAdapter[dict[str, Any]]:
    """Validates the kind's own fields strictly: a number in quotes or a truth value is no number.

    The record's fields are taken over into a typed dict, because a dataclass is strict only as a whole, and
    then takes nothing but its own instances.
    """
    hints, record = known_fields(KINDS[kind]), KINDS[kind]
    required = {name for name in hints if record.__dataclass_fields__[name].default is MISSING}
    own = {name: hints[name] if name in required else NotRequired[hints[name]] for name in _own_names(kind)}
    typed = with_config(ConfigDict(strict=True))(TypedDict(kind, own))  # type: ignore[operator]
    return TypeAdapter(typed)


def _object(kind: str, payload: bytes) -> dict[str, JsonValue]:
    if len(payload) > MAX_PAYLOAD_BYTES:
        raise PayloadError(
            f"{kind}: payload has {len(payload)} bytes; expected at most {MAX_PAYLOAD_BYTES};"
            " publish one reading a message"
        )
    try:
        text = payload.decode("utf-8")
    except UnicodeDecodeError as error:
        raise PayloadError(
            f"{kind}: byte {error.start} of the payload is 0x{payload[error.start]:02x}; expected UTF-8 text;"
            " publish JSON encoded as UTF-8"
        ) from None
    try:
        tree = json.loads(text, object_pairs_hook=_unique, parse_float=_finite, parse_constant=_no_number)
        if "\\u" in text:
            json.dumps(tree, ensure_ascii=False).encode()
    except PayloadError as error:
        raise PayloadError(f"{kind}: {error}") from None
    except UnicodeEncodeError:
        raise PayloadError(
            f"{kind}: a text holds half of a surrogate pair; expected whole characters; publish them as UTF-8"
        ) from None
    except RecursionError:
        raise PayloadError(_nesting_message(kind)) from None
    except ValueError as error:
        raise PayloadError(
            f"{kind}: payload is not JSON ({error}), got {_shown(text)}; expected one JSON object such as"
            f' {{"{TIME}": "2026-07-18T09:00:00Z", ...}}'
        ) from None
    if not isinstance(tree, dict):
        raise PayloadError(
            f"{kind}: payload is {_shown(tree)}; expected one JSON object;"
            " publish each reading as a message of its own"
        )
    return tree


def _unique(pairs: list[tuple[str, JsonValue]]) -> dict[str, JsonValue]:
    tree = dict(pairs)
    if len(tree) < len(pairs):
        names = [name for name, _ in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise PayloadError(f"{_shown(twice)} stands there twice; expected each field once; remove one")
    return tree


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise PayloadError(f"number {text} is too large; expected a finite number; leave the field out")
    return value


def _no_number(text: str) -> float:
    raise PayloadError(f"{text} is not JSON; expected a finite number; leave the field out instead")


def _time(kind: str, name: str, tree: Mapping[str, JsonValue]) -> float:
    if name not in tree:
        raise PayloadError(
            f"{kind}: {name} is missing; expected {EXPECTED_TIME}; add the moment of the measurement"
        )
    value = tree[name]
    if isinstance(value, str):
        return _in_range(kind, name, value, _from_rfc3339(kind, name, value))
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PayloadError(f"{kind}: {name} is {_shown(value)}; expected {EXPECTED_TIME}")
    return _in_range(kind, name, value, value)


def _in_range(kind: str, name: str, written: str | float, unix_s: float) -> float:
    if EARLIEST_UNIX_S <= unix_s < LATEST_UNIX_S:
        return float(unix_s)
    factor = next((f for f in TIME_UNITS if EARLIEST_UNIX_S * f <= unix_s < LATEST_UNIX_S * f), None)
    slip = "set the sender's clock" if factor is None else f"{TIME_UNITS[factor]}? divide by {factor}"
    raise PayloadError(
        f"{kind}: {name} is {_shown(written)}; expected a time between the years 2000 and 2100; {slip}"
    )


def _from_rfc3339(kind: str, name: str, text: str) -> float:
    """RFC 3339, section 5.6; a leap second counts as the second after it."""
    match = RFC_3339.fullmatch(text)
    if match is None:
        raise PayloadError(f"{kind}: {name} is {_shown(text)}; expected {EXPECTED_TIME}")
    date, minute, second, fraction, offset = match.groups()
    if offset is None:
        raise PayloadError(
            f"{kind}: {name} is {_shown(text)}, without an offset; expected {EXPECTED_TIME};"
            " end it in Z where it is UTC"
        )
    leap = second == "60"
    try:
        moment = datetime.fromisoformat(f"{date}T{minute}:{'59' if leap else second}{offset.upper()}")
    except ValueError as error:
        raise PayloadError(f"{kind}: {name} is {_shown(text)} ({error}); expected {EXPECTED_TIME}") from None
    return moment.timestamp() + leap + (float(f"0{fraction}") if fraction else 0.0)


def _check_one_of(kind: str, tree: Mapping[str, JsonValue]) -> None:
    names = ONE_OF.get(kind)
    if names is not None and all(tree.get(name) is None for name in names):
        got = ", ".join(map(_shown, tree))
        expected = f"expected at least one of {', '.join(names)}"
        raise PayloadError(f"{kind}: got only {got}; {expected}", f"{kind}: {expected}")


def _check_nesting(kind: str, tree: JsonValue) -> None:
    level: list[JsonValue] = [tree]
    for _ in range(MAX_NESTING):
        level = [inner for value in level for inner in _inside(value)]
        if not level:
            return
    raise PayloadError(_nesting_message(kind))


def _inside(value: JsonValue) -> Iterable[JsonValue]:
    if isinstance(value, dict):
        return value.values()
    return value if isinstance(value, list) else ()


def _nesting_message(kind: str) -> str:
    return f"{kind}: values are nested deeper than {MAX_NESTING}; expected a flat object; flatten it"


def _field_message(kind: str, error: ValidationError) -> str:
    found = []
    for one in error.errors(include_url=False):
        name = str(one["loc"][0])
        if one["type"] == "missing":
            found.append(f"{name} is missing; expected {_allowed(kind, name)}; add it")
            continue
        value = cast(JsonValue, one["input"])
        found.append(
            f"{name} is {_shown(value)}; expected {_allowed(kind, name)}; {_advice(kind, name, value)}"
        )
    return f"{kind}: " + "; ".join(found)


def _field_reason(kind: str, error: ValidationError) -> str:
    names = [str(one["loc"][0]) for one in error.errors(include_url=False)]
    return "; ".join(f"{kind}.{name}: expected {_allowed(kind, name)}" for name in names)


def _allowed(kind: str, name: str) -> str:
    return allowed_text(known_fields(KINDS[kind])[name])


def _advice(kind: str, name: str, value: JsonValue) -> str:
    if isinstance(value, str) and "number" in _allowed(kind, name) and _is_number(value):
        return "write the number without quotes"
    required = KINDS[kind].__dataclass_fields__[name].default is MISSING
    return "correct it" if required else "correct it or leave the field out"


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=True)
    return text if len(text) <= SHOWN_CHARACTERS else f"{text[:SHOWN_CHARACTERS]}..."
