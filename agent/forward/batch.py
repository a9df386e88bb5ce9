"""One message from a terminal to the desk, as a record and as bytes. Pure.

The bytes are JSON packed by zlib (RFC 1950). The desk answers with their digest once it has committed them.
"""

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Annotated

from annotated_types import Interval
from pydantic import TypeAdapter, ValidationError

from agent.inputs.messages import kind_of, reading_fields
from agent.inputs.payloads import PayloadError, reading_of
from agent.records import AlertEvent, AnyReading, JsonValue, Situation

LEVEL = 9
# A thousand times what a minute takes; a message of a few bytes could unpack to more than the memory holds.
MAX_UNPACKED_BYTES = 16_000_000
RECEIPT_BYTES = 8
Number = Annotated[int, Interval(ge=0, le=2**53)]


class BatchError(ValueError):
    """The message is none that a terminal sends; the text says what is wrong with it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A reading with its number in the order of the site, or (`n` above 1) so many of a minute.

    Of those each number is the median (of an even count the lower one of the two), `low` and `high` the least
    and the greatest; a truth value holds where all did, a text is the last; the time is that of the last.
    """

    seq: int
    reading: AnyReading
    n: int = 1
    low: Mapping[str, float] = field(default_factory=dict)
    high: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Minute:
    """The figures of the situation at the minute."""

    unix_s: float
    figures: Mapping[str, float]


@dataclass(frozen=True, slots=True)
class PlanText:
    """Job and plan as the store has them."""

    digest: str
    job: str
    body: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """`seq` orders the batches of a terminal; `inputs` is how its inputs fare, as the store has it."""

    terminal: str
    seq: int
    rows: Sequence[Row] = ()
    events: Sequence[AlertEvent] = ()
    minutes: Sequence[Minute] = ()
    situation: Situation | None = None
    plan: PlanText | None = None
    inputs: str | None = None


@dataclass(frozen=True, slots=True)
class _WireRow:
    kind: str
    seq: Number
    n: Annotated[int, Interval(ge=1, le=1_000_000)]
    reading: dict[str, JsonValue]
    low: dict[str, float]
    high: dict[str, float]


@dataclass(frozen=True, slots=True)
class _Wire:
    terminal: str
    seq: Number
    rows: list[_WireRow]
    events: list[AlertEvent]
    minutes: list[Minute]
    situation: Situation | None
    plan: PlanText | None
    inputs: str | None


_WIRE = TypeAdapter(_Wire)


def packed(batch: Batch) -> bytes:
    """The bytes to publish."""
    rows = [
        _WireRow(
            kind_of(row.reading),
            row.seq,
            row.n,
            reading_fields(row.reading),
            dict(row.low),
            dict(row.high),
        )
        for row in batch.rows
    ]
    wire = _Wire(
        batch.terminal,
        batch.seq,
        rows,
        list(batch.events),
        list(batch.minutes),
        batch.situation,
        batch.plan,
        batch.inputs,
    )
    return zlib.compress(_WIRE.dump_json(wire), LEVEL)


def unpacked(payload: bytes) -> Batch:
    """The batch in these bytes; raises BatchError."""
    unpacker = zlib.decompressobj()
    try:
        text = unpacker.decompress(payload, MAX_UNPACKED_BYTES)
    except zlib.error as error:
        raise BatchError(f"is not packed by zlib ({error}); expected what an agent forwards") from error
    if unpacker.unconsumed_tail or not unpacker.eof:
        raise BatchError(f"is cut short, or unpacks to more than {MAX_UNPACKED_BYTES} bytes")
    try:
        wire = _WIRE.validate_json(text)
        rows = tuple(_row(one) for one in wire.rows)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise BatchError(f"{place}: {first['msg']}; expected what an agent forwards") from error
    except (PayloadError, KeyError) as error:
        raise BatchError(f"rows: {error}") from error
    return Batch(
        terminal=wire.terminal,
        seq=wire.seq,
        rows=rows,
        events=tuple(wire.events),
        minutes=tuple(wire.minutes),
        situation=wire.situation,
        plan=wire.plan,
        inputs=wire.inputs,
    )


def _row(wire: _WireRow) -> Row:
    reading = reading_of(wire.kind, wire.reading)
    known = set(wire.reading)
    if not wire.low.keys() == wire.high.keys() <= known:
        raise PayloadError(f"{wire.kind}: least and greatest are of other fields than the reading has")
    return Row(seq=wire.seq, reading=reading, n=wire.n, low=wire.low, high=wire.high)


def receipt(payload: bytes) -> bytes:
    """What the desk answers to exactly these bytes, as text in hexadecimal."""
    return blake2b(payload, digest_size=RECEIPT_BYTES).hexdigest().encode()
