"""The rate that an interface carries, from its byte counters: the live stream itself is the measurement.

How fast the encoder sends is not in the counters. They tell the best minute since the stream began, at most
the rate in the config: against that a stream that falters shows.
"""

import asyncio
import time
from collections import deque
from collections.abc import AsyncGenerator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated

from annotated_types import Interval, MaxLen, MinLen

from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Sample
from agent.inputs.collectors.registry import Around
from agent.inputs.rates.turn import Turn, turn_of
from agent.records import JsonValue

SYS_CLASS_NET = Path("/sys/class/net")
BITS_PER_BYTE = 8
# Below this an interface only chats: no stream runs.
STREAM_FROM_MBPS = 0.1
MINUTE_S = 60.0
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


@dataclass(slots=True)
class StreamRate:
    """The rate that the stream has when nothing is wrong, learnt from what goes up.

    A minute without a stream ends it: the next one may have been set to another rate.
    """

    configured_mbps: float
    best_mbps: float = 0.0
    silent_s: float = 0.0
    looks: deque[tuple[float, float]] = field(default_factory=deque)  # the last minute's seconds and rates

    def add(self, seconds: float, up_mbps: float) -> None:
        """What went up in so many seconds."""
        self.silent_s = self.silent_s + seconds if up_mbps < STREAM_FROM_MBPS else 0.0
        if self.silent_s >= MINUTE_S:
            self.best_mbps = 0.0
            self.looks.clear()
            return
        self.looks.append((seconds, up_mbps))
        covered_s = sum(one for one, _ in self.looks)
        while covered_s - self.looks[0][0] >= MINUTE_S:
            covered_s -= self.looks.popleft()[0]
        if covered_s >= MINUTE_S:
            carried = sum(one * rate for one, rate in self.looks) / covered_s
            self.best_mbps = max(self.best_mbps, carried)

    @property
    def mbps(self) -> float | None:
        """Mbit/s; 0 where none runs, None in its first minute."""
        if self.silent_s >= MINUTE_S:
            return 0.0
        return round(min(self.best_mbps, self.configured_mbps), 4) if self.best_mbps else None


def make(settings: Settings, around: Around) -> Collector:
    """Publishes throughput readings of the method passive."""
    return collector(settings, turn_of(around.config), around.config.job.service.stream_mbps)


def collector(settings: Settings, turn: Turn, stream_mbps: float) -> Collector:
    """The same with any turn and any rate of the config."""
    return Collector(
        name=f"counters {settings.interface}",
        place=str(Path(settings.base) / settings.interface),
        advice="name an interface of `ip link` in [[inputs.counters]] interface",
        stream=lambda: _rates(settings, turn, StreamRate(stream_mbps)),
        first_within_s=settings.every_s + 5.0,
    )


async def _rates(settings: Settings, turn: Turn, stream: StreamRate) -> AsyncGenerator[Collected, None]:
    loop = asyncio.get_running_loop()
    before = read_counts(settings)
    due_s = loop.time()
    tested = turn.taken()
    while True:
        due_s = max(due_s + settings.every_s, loop.time())
        await asyncio.sleep(due_s - loop.time())
        now, testing = read_counts(settings), turn.taken()
        # What a test of the rate sends is none of the stream.
        learner = None if tested or testing else stream
        yield Collected((Sample("throughput", passive_fields(before, now, learner)),))
        before, tested = now, testing


def read_counts(settings: Settings) -> Counts:
    """The interface's counters now."""
    folder = Path(settings.base) / settings.interface / "statistics"
    received, sent = _number(folder / "rx_bytes"), _number(folder / "tx_bytes")
    if settings.reversed:
        received, sent = sent, received
    return Counts(time.monotonic(), received, sent)


def passive_fields(before: Counts, now: Counts, stream: StreamRate | None) -> dict[str, JsonValue]:
    """Rates between two looks, and that of the stream, which learns from them.

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
    if stream is not None:
        stream.add(seconds, up_mbps)
        fields["stream_mbps"] = stream.mbps
    return fields


def mbps(count: int, seconds: float) -> float:
    """Mbit/s, in powers of ten."""
    return round(count * BITS_PER_BYTE / seconds / 1e6, 4)


def _number(path: Path) -> int:
    text = path.read_text(encoding="ascii", errors="replace").strip()
    if not text.isdecimal():
        raise CollectorError(f"{path.name} holds {text[:40]!r}; expected a whole number of bytes")
    return int(text)
