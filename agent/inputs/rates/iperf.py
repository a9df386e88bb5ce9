"""Tests of the rate by iperf3, where it is installed and the user runs its server at the other end."""

import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf
from typing import Annotated, Any, Literal

from annotated_types import Interval

from agent.config import Host, Port
from agent.inputs.collectors.frame import Collector, CollectorError, RateTest
from agent.inputs.collectors.programs import run_program
from agent.inputs.collectors.registry import Around
from agent.inputs.rates.rounds import (
    BITS_PER_BYTE,
    LONGEST_RETRY_S,
    Direction,
    OneWay,
    RateTestSettings,
    Watchman,
    is_window_limited,
    rounds,
    watchman_of,
)
from agent.inputs.rates.turn import Cost

IPERF_PORT = 5201  # IANA service name "targus-getdata1", iperf3's default
PROGRAM = "iperf3"
CONNECT_WITHIN_S = 10.0
BLOCK_BYTES = 16_384
OMIT_S = 4.0  # six round trips of a geostationary path: the flows have grown
# What it exchanges before and after the test, at several round trips of a slow path.
AROUND_S = 20.0
# A rate so near the cap that keeps the test within its bytes is the cap's, not the link's.
CAP_SHARE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings(RateTestSettings):
    """[[inputs.iperf]]: the user's own iperf3 server."""

    host: Host
    port: Port = IPERF_PORT
    directions: Literal["both", "down", "up"] = "both"
    omit_s: Annotated[float, Interval(ge=0.0, le=60.0)] = OMIT_S


def make(settings: Settings, around: Around) -> Collector:
    """Publishes throughput readings of the method active."""
    return collector(settings, watchman_of(around.config))


def collector(settings: Settings, watchman: Watchman) -> Collector:
    """The same with any watchman."""
    # Up first: it tells the round trip.
    ways: Sequence[Direction] = ("up", "down") if settings.directions == "both" else (settings.directions,)
    return Collector(
        name=f"iperf {settings.host}:{settings.port}",
        place=f"{settings.host}:{settings.port}",
        advice="look whether the server runs and can be reached: iperf3 --server, at the other end",
        stream=lambda: rounds(settings, watchman, ways, Measurer(settings).one_way),
        first_within_s=len(ways) * (settings.seconds + 2.0 * AROUND_S),
        least_retry_s=min(settings.every_s, LONGEST_RETRY_S),
        rate_test=RateTest(host=settings.host, port=settings.port, most_mb=settings.test_mb),
    )


@dataclass(slots=True)
class Measurer:
    """Runs the tests. Only the end that sends knows the round trip: that of the last upload is kept."""

    settings: Settings
    rtt_ms: float | None = None

    async def one_way(self, way: Direction, cost: Cost) -> OneWay:
        """Test one direction."""
        seconds = round(self.settings.seconds) + round(self.settings.omit_s)
        # Each flow ends with a whole block.
        room_bytes = max(0, cost.left_bytes - self.settings.flows * BLOCK_BYTES)
        cap_mbps = room_bytes * BITS_PER_BYTE / seconds / 1e6
        before_bytes, cost.used_bytes = cost.used_bytes, cost.allowed_bytes
        # Cut off in the middle it has cost what it was allowed to.
        output = await _output(command(self.settings, way, cap_mbps), seconds + AROUND_S)
        cost.used_bytes = before_bytes
        report = read_report(output)
        cost.used_bytes += report.bytes_used
        self.rtt_ms = report.rtt_ms or self.rtt_ms
        if report.rate_mbps >= CAP_SHARE * cap_mbps:
            raise CollectorError(
                f"{report.rate_mbps:.1f} Mbit/s is what test_mb allows in {seconds} s; allow more"
            )
        window = report.window_bytes
        limited = (
            window is not None
            and self.rtt_ms is not None
            and is_window_limited(report.rate_mbps, window, self.rtt_ms, self.settings.flows)
        )
        return OneWay(report.rate_mbps, self.rtt_ms, report.bytes_used, window, limited)


def command(settings: Settings, way: Direction, cap_mbps: float) -> list[str]:
    """The cap is that of each flow."""
    words = [
        PROGRAM,
        *("--client", settings.host, "--port", str(settings.port), "--json"),
        *("--time", str(round(settings.seconds)), "--omit", str(round(settings.omit_s))),
        *("--parallel", str(settings.flows), "--bitrate", str(max(1, int(cap_mbps * 1e6 / settings.flows)))),
        *("--length", str(BLOCK_BYTES)),
        *("--connect-timeout", str(int(CONNECT_WITHIN_S * 1e3))),
    ]
    if way == "down":
        words.append("--reverse")
    if settings.window_bytes is not None:
        words += ["--window", str(settings.window_bytes)]
    return words


async def _output(command: Sequence[str], within_s: float) -> bytes:
    if shutil.which(command[0]) is None:
        raise CollectorError(f"{command[0]} is not installed here; install it, or use [[inputs.http_rate]]")
    return (await run_program(command, within_s)).stdout


@dataclass(frozen=True, slots=True)
class Report:
    """What iperf3 says of one direction, counted where the bytes arrived; None where it does not say."""

    rate_mbps: float
    rtt_ms: float | None
    bytes_used: int
    window_bytes: int | None


def read_report(text: bytes) -> Report:
    """Read the JSON of iperf3 (version 3.7 or later). Raises CollectorError."""
    try:
        tree = json.loads(text)
    except ValueError:
        raise CollectorError(f"{PROGRAM} wrote {text[:60]!r}; expected JSON") from None
    if isinstance(tree, dict) and isinstance(tree.get("error"), str):
        raise CollectorError(f"{PROGRAM}: {tree['error']}")
    try:
        return _report(tree)
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise CollectorError(
            f"{PROGRAM}'s report cannot be used ({error}); expected that of version 3.7 or later"
        ) from None


def _report(tree: Mapping[str, Any]) -> Report:
    """The intervals include the time that the result leaves out, and the bytes that it cost."""
    received = tree["end"]["sum_received"]
    parts = [flow for interval in tree["intervals"] for flow in interval["streams"]]
    windows = [int(part["snd_wnd"]) for part in parts if part.get("snd_wnd")]
    buffer_bytes = int(tree["start"].get("sock_bufsize", 0))
    rtts_us = [flow["sender"].get("min_rtt", 0) for flow in tree["end"]["streams"]]
    limits = [limit for limit in (max(windows, default=0), buffer_bytes) if limit]
    rate_mbps = float(received["bits_per_second"]) / 1e6
    if not (float(received["seconds"]) > 0.0 and 0.0 <= rate_mbps < inf):
        raise ValueError(f"{rate_mbps:g} Mbit/s in {received['seconds']} s")
    return Report(
        rate_mbps=rate_mbps,
        rtt_ms=min(rtts_us) / 1e3 if all(rtts_us) else None,
        bytes_used=sum(int(part["bytes"]) for part in parts),
        window_bytes=min(limits, default=None),
    )
