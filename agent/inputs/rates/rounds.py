"""What tests of the rate have in common: settings, when they may run, and what they say. Mostly pure."""

import asyncio
import time
from collections.abc import AsyncGenerator, Awaitable, Callable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import partial
from typing import Annotated, Literal

from annotated_types import Interval

from agent.config import Config
from agent.inputs.collectors.frame import Collected, Sample
from agent.inputs.rates.turn import BudgetSpent, Cost, Turn, turn_of
from agent.records import JsonValue, Throughput
from agent.store.opening import open_for_reading
from agent.store.reader import situations
from agent.throughput import WINDOW_SHARE, window_limit_mbps

BITS_PER_BYTE = 8
BYTES_PER_MB = 1_000_000
LONGEST_RETRY_S = 300.0
Direction = Literal["down", "up"]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateTestSettings:
    """The keys of every kind of test.

    Several flows, because one cannot fill a path of 600 ms (RFC 6349, section 3.3.1): a flow carries at most
    its window a round trip. `window_bytes` absent: as large as the system lets it grow.
    """

    every_s: Annotated[float, Interval(ge=60.0, le=86_400.0)] = 1800.0
    flows: Annotated[int, Interval(ge=1, le=16)] = 4
    window_bytes: Annotated[int, Interval(ge=4096, le=2**26)] | None = None
    seconds: Annotated[float, Interval(ge=1.0, le=60.0)] = 5.0
    test_mb: Annotated[float, Interval(ge=0.1, le=10_000.0)] = 20.0
    day_mb: Annotated[float, Interval(ge=0.1, le=1_000_000.0)] = 300.0
    during_stream: bool = False


@dataclass(frozen=True, slots=True)
class OneWay:
    """One direction of a test. `window_bytes` is a flow's window, None where it could not be seen."""

    rate_mbps: float
    rtt_ms: float | None
    bytes_used: int
    window_bytes: int | None
    window_limited: bool


# Tests one direction, at the cost of so many bytes at most, and counts them as it goes.
Test = Callable[[Direction, Cost], Awaitable[OneWay]]


@dataclass(frozen=True, slots=True)
class Watchman:
    """Says when a test may run: `now` is the time, `live` whether a stream is, of so many Mbit/s."""

    turn: Turn
    now: Callable[[], float]
    live: Callable[[], bool]
    stream_mbps: float


def is_window_limited(rate_mbps: float, window_bytes: int, rtt_ms: float, flows: int) -> bool:
    """Whether a rate is (nearly) all that the windows allow, as the watch sees it."""
    test = Throughput(unix_s=0.0, method="active", window_bytes=window_bytes, rtt_ms=rtt_ms, flows=flows)
    limit_mbps = window_limit_mbps(test)
    return limit_mbps is not None and rate_mbps >= WINDOW_SHARE * limit_mbps


def fields_of(found: dict[Direction, OneWay], flows: int) -> dict[str, JsonValue]:
    """A test as the fields of a throughput reading; the window is that of the way down, if tested."""
    rtts_ms = [way.rtt_ms for way in found.values() if way.rtt_ms is not None]
    shown = found.get("down") or next(iter(found.values()))
    fields: dict[str, JsonValue] = {
        "method": "active",
        "flows": flows,
        "bytes_used": sum(way.bytes_used for way in found.values()),
        "rtt_ms": min(rtts_ms, default=None),
        "window_bytes": shown.window_bytes,
    }
    for direction, way in found.items():
        fields[f"{direction}_mbps"] = round(way.rate_mbps, 4)
        fields[f"{direction}_window_limited"] = way.window_limited
    return fields


def limited_finding(found: dict[Direction, OneWay], flows: int) -> str | None:
    """What to do where the windows, and not the link, gave the rate."""
    limited = [
        f"{direction} {way.rate_mbps:.2f} Mbit/s is what {flows} windows of {way.window_bytes} bytes allow"
        for direction, way in found.items()
        if way.window_limited
    ]
    return f"{'; '.join(limited)}; use more flows or a larger window_bytes" if limited else None


async def rounds(
    settings: RateTestSettings, watchman: Watchman, ways: Sequence[Direction], test: Test
) -> AsyncGenerator[Collected, None]:
    """A test every so often, unless a stream is live or the day's bytes are used."""
    loop = asyncio.get_running_loop()
    while True:
        due_s = loop.time() + settings.every_s
        live = await asyncio.to_thread(watchman.live)
        if live and not settings.during_stream:
            yield Collected(())
        else:
            # The link carries the stream besides the test.
            beside: dict[str, JsonValue] = {"stream_mbps": watchman.stream_mbps} if live else {}
            yield await _one_test(settings, watchman, ways, test, beside)
        await asyncio.sleep(due_s - loop.time())


async def _one_test(
    settings: RateTestSettings,
    watchman: Watchman,
    ways: Sequence[Direction],
    test: Test,
    beside: Mapping[str, JsonValue],
) -> Collected:
    most_bytes, day_bytes = (int(mb * BYTES_PER_MB) for mb in (settings.test_mb, settings.day_mb))
    try:
        async with watchman.turn.take(watchman.now(), most_bytes, day_bytes) as cost:
            found: dict[Direction, OneWay] = {}
            for number, way in enumerate(ways, 1):
                cost.allowed_bytes = most_bytes * number // len(ways)
                found[way] = await test(way, cost)
    except BudgetSpent as spent:
        return Collected((), str(spent))
    sample = Sample("throughput", {**fields_of(found, settings.flows), **beside})
    return Collected((sample,), limited_finding(found, settings.flows))


def watchman_of(config: Config) -> Watchman:
    """That of an agent."""
    live = partial(stream_is_live, config)
    return Watchman(turn_of(config), time.time, live, config.job.service.stream_mbps)


def stream_is_live(config: Config) -> bool:
    """By the crew's notes, as the running agent last stored it; without a store there is no stream yet."""
    if not config.store.path.exists():
        return False
    with closing(open_for_reading(config.store.path)) as connection:
        found = [one for one in situations(connection) if one.terminal == config.job.terminal]
    return any(one.situation.figures.get("streaming", 0.0) > 0.0 for one in found)
