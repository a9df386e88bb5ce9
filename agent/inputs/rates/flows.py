"""Several TCP connections at once that carry as much as the path lets them, and what they say of it."""

import asyncio
import ssl
import time
from collections.abc import Callable, Coroutine, Sequence
from dataclasses import dataclass, field
from statistics import fmean, median

from agent.inputs.collectors.frame import CollectorError
from agent.inputs.collectors.sockets import connect
from agent.inputs.rates.rounds import (
    BITS_PER_BYTE,
    Direction,
    OneWay,
    is_window_limited,
)
from agent.inputs.rates.tcp_info import TcpInfo, tcp_info
from agent.inputs.rates.turn import Cost

# A flow starts with ten segments and doubles them each round trip (RFC 6928, RFC 5681): six round trips make
# some 900 kB of it, more than a path of 600 ms and 10 Mbit/s holds.
GROW_ROUND_TRIPS = 6.0
GROW_LEAST_S = 1.0
CONNECT_WITHIN_S = 10.0
LEAST_MEASURED_S = 1.0
LOOK_EVERY_S = 0.25
CHUNK_BYTES = 16_384
LIMITED_SHARE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """The other end; `tls` None: in the clear."""

    host: str
    port: int
    tls: ssl.SSLContext | None


@dataclass(slots=True)
class Flow:
    """One connection. `carried_bytes` is what its pump has moved."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    rtt_ms: float
    cost: Cost
    carried_bytes: int = 0
    windows_bytes: list[int] = field(default_factory=list)

    def facts(self) -> TcpInfo | None:
        """What the system knows about the connection."""
        return tcp_info(self.writer.get_extra_info("socket"))

    def took(self, count: int) -> None:
        """So many bytes went through."""
        self.carried_bytes += count
        self.cost.used_bytes += count


@dataclass(frozen=True, slots=True)
class _Look:
    at_s: float
    carried_bytes: int
    busy_s: float
    limited_s: float


# Moves bytes until nothing is left to move or the cost is used up.
Pump = Callable[[Flow, asyncio.Event], Coroutine[None, None, None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowTest:
    """A test of one direction. `window_bytes` None: as the system sees fit."""

    target: Target
    direction: Direction
    flows: int
    window_bytes: int | None
    seconds: float
    pump: Pump


async def run_flows(test: FlowTest, cost: Cost) -> OneWay:
    """Open the flows, let them grow, measure, close them. Raises CollectorError or OSError."""
    before_bytes = cost.used_bytes
    flows: list[Flow] = []
    try:
        async with asyncio.timeout(CONNECT_WITHIN_S):
            opening = [_open(test, cost, flows) for _ in range(test.flows)]
            failures = [one for one in await asyncio.gather(*opening, return_exceptions=True) if one]
        if failures:
            raise failures[0]
        first, last = await _measure(test, flows)
    finally:
        for flow in flows:
            flow.writer.transport.abort()
    return _one_way(test, flows, (first, last), cost.used_bytes - before_bytes)


async def _open(test: FlowTest, cost: Cost, flows: list[Flow]) -> None:
    target = test.target
    connected, rtt_ms = await connect(target.host, target.port, test.window_bytes)
    try:
        reader, writer = await asyncio.open_connection(
            sock=connected, ssl=target.tls, server_hostname=target.host if target.tls else None
        )
    except BaseException:
        connected.close()
        raise
    flows.append(Flow(reader, writer, rtt_ms, cost))


async def _measure(test: FlowTest, flows: Sequence[Flow]) -> tuple[_Look, _Look]:
    """What the flows had carried when they had grown, and at the end."""
    grow_s = max(GROW_LEAST_S, GROW_ROUND_TRIPS * median(flow.rtt_ms for flow in flows) / 1e3)
    enough = asyncio.Event()
    pumps = [asyncio.ensure_future(test.pump(flow, enough)) for flow in flows]
    try:
        await _while_running(pumps, grow_s)
        first = last = _look(test, flows)
        while last.at_s - first.at_s < test.seconds and not all(pump.done() for pump in pumps):
            await _while_running(pumps, LOOK_EVERY_S)
            last = _look(test, flows)
        if last.at_s - first.at_s < min(LEAST_MEASURED_S, test.seconds):
            raise CollectorError(
                f"all {sum(flow.carried_bytes for flow in flows)} bytes had passed before the flows had grown"
                f" for {grow_s:.1f} s; serve a larger file, or allow more test_mb"
            )
        if last.carried_bytes == first.carried_bytes:
            raise CollectorError(f"nothing moved for {last.at_s - first.at_s:.0f} s; expected a steady flow")
        if test.direction == "up":
            # The server's last word may be that it has refused everything.
            enough.set()
            await asyncio.gather(*pumps)
        return first, last
    finally:
        for pump in pumps:
            pump.cancel()
        await asyncio.gather(*pumps, return_exceptions=True)


async def _while_running(pumps: Sequence[asyncio.Future[None]], seconds: float) -> None:
    """Wait so long, or until all pumps have ended; raises what one of them raised."""
    running = [pump for pump in pumps if not pump.done()]
    if running:
        await asyncio.wait(running, timeout=seconds, return_when=asyncio.FIRST_EXCEPTION)
    for pump in pumps:
        if pump.done():
            pump.result()


def _look(test: FlowTest, flows: Sequence[Flow]) -> _Look:
    known = [flow.facts() for flow in flows]
    facts = [one for one in known if one is not None]
    if test.direction == "down":
        carried_bytes = sum(flow.carried_bytes for flow in flows)
    elif len(facts) == len(flows):
        carried_bytes = sum(one.bytes_acked for one in facts)
    else:
        raise CollectorError(
            "this system does not tell what has been acknowledged; test the upload by iperf3"
        )
    for flow, one in zip(flows, facts, strict=False):
        down = test.direction == "down"
        flow.windows_bytes.append(one.receive_window_bytes if down else one.send_window_bytes)
    busy_s, limited_s = sum(one.busy_s for one in facts), sum(one.limited_s for one in facts)
    return _Look(time.monotonic(), carried_bytes, busy_s, limited_s)


def _one_way(test: FlowTest, flows: Sequence[Flow], looks: tuple[_Look, _Look], used: int) -> OneWay:
    first, last = looks
    seconds = last.at_s - first.at_s
    rate_mbps = (last.carried_bytes - first.carried_bytes) * BITS_PER_BYTE / seconds / 1e6
    rtt_ms = median(flow.rtt_ms for flow in flows)
    seen = [max(flow.windows_bytes) for flow in flows if any(flow.windows_bytes)]
    window_bytes = round(fmean(seen)) if seen else test.window_bytes
    limited = window_bytes is not None and is_window_limited(rate_mbps, window_bytes, rtt_ms, len(flows))
    held_back = last.limited_s - first.limited_s > LIMITED_SHARE * (last.busy_s - first.busy_s)
    if test.direction == "up" and (limited or held_back):
        # Whichever end's buffer it was: this much was under way.
        limited, window_bytes = True, round(rate_mbps * rtt_ms * 1e3 / BITS_PER_BYTE / len(flows))
    return OneWay(rate_mbps, rtt_ms, used, window_bytes, limited)
