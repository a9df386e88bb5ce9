"""The rate that an interface carries, from its byte counters: the live stream itself is the measurement."""

import asyncio
import time
from collections.abc import AsyncGenerator
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from annotated_types import Interval, MaxLen, MinLen

from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Sample
from agent.inputs.collectors.rate_turn import Turn, turn_of
from agent.inputs.collectors.registry import Around
from agent.records import JsonValue

SYS_CLASS_NET = Path("/sys/class/net")
BITS_PER_BYTE = 8
# Below this an interface only chats: no stream runs.
STREAM_FROM_MBPS = 0.1
FolderPath = Annotated[str, MinLen(1), MaxLen(4096)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """[[inputs.counters]]: an interface that everything to the satellite passes, upload as it sends.

    `reversed`: the interface faces the encoder, so that what it receives goes up.
    """

    interface: Annotated[str, MinLen(1), MaxLen(15)]
    every_s: Annotated[float, Interval(ge=1.0, le=3600.0)] = 10.0
    reversed: bool = False
    base: FolderPath = str(SYS_CLASS_NET)


@dataclass(frozen=True, slots=True)
class Counts:
    """Bytes since the interface came up, at one moment of a clock that only grows."""

    at_s: float
    down_bytes: int
    up_bytes: int


def make(settings: Settings, around: Around) -> Collector:
    """Publishes throughput readings of the method passive."""
    return collector(settings, turn_of(around.config))


def collector(settings: Settings, turn: Turn) -> Collector:
    """The same with any turn."""
    return Collector(
        name=f"counters {settings.interface}",
        place=str(Path(settings.base) / settings.interface),
        advice="name an interface of `ip link` in [[inputs.counters]] interface",
        stream=lambda: _rates(settings, turn),
        first_within_s=settings.every_s + 5.0,
    )


async def _rates(settings: Settings, turn: Turn) -> AsyncGenerator[Collected, None]:
    loop = asyncio.get_running_loop()
    before = read_counts(settings)
    due_s = loop.time()
    tested = turn.taken()
    while True:
        due_s = max(due_s + settings.every_s, loop.time())
        await asyncio.sleep(due_s - loop.time())
        now, testing = read_counts(settings), turn.taken()
        yield Collected((Sample("throughput", passive_fields(before, now, tested or testing)),))
        before, tested = now, testing


def read_counts(settings: Settings) -> Counts:
    """The interface's counters now."""
    folder = Path(settings.base) / settings.interface / "statistics"
    received, sent = _number(folder / "rx_bytes"), _number(folder / "tx_bytes")
    if settings.reversed:
        received, sent = sent, received
    return Counts(time.monotonic(), received, sent)


def passive_fields(before: Counts, now: Counts, tested: bool) -> dict[str, JsonValue]:
    """Rates between two looks; what goes up is the stream, unless a test ran in between.

    Raises CollectorError where a counter ran backwards: the interface was restarted.
    """
    seconds = now.at_s - before.at_s
    down_bytes, up_bytes = now.down_bytes - before.down_bytes, now.up_bytes - before.up_bytes
    if down_bytes < 0 or up_bytes < 0:
        raise CollectorError("a counter ran backwards; expected it to grow: the interface was restarted")
    up_mbps = mbps(up_bytes, seconds)
    fields: dict[str, JsonValue] = {
        "method": "passive",
        "down_mbps": mbps(down_bytes, seconds),
        "up_mbps": up_mbps,
    }
    if not tested:
        fields["stream_mbps"] = up_mbps if up_mbps >= STREAM_FROM_MBPS else 0.0
    return fields


def mbps(count: int, seconds: float) -> float:
    """Mbit/s, in powers of ten."""
    return round(count * BITS_PER_BYTE / seconds / 1e6, 4)


def _number(path: Path) -> int:
    text = path.read_text(encoding="ascii", errors="replace").strip()
    if not text.isdecimal():
        raise CollectorError(f"{path.name} holds {text[:40]!r}; expected a whole number of bytes")
    return int(text)
