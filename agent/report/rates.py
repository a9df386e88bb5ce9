"""Throughput tests, what they left for the stream, and what they themselves cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

import numpy as np

from agent.job import Service
from agent.plan.span import Span
from agent.records import Throughput
from agent.report.availability import capacity_tests
from agent.throughput import HEADROOM_PERCENT, STREAM_ALLOWANCE, uplink_capacity_mbps

BITS_PER_BYTE = 8.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Rates:
    """What the tests of the span found (Mbit/s, ms, percent); NaN where no test says so.

    `weak_up_mbps` is the tenth percentile of what the uplink carried; `need_mbps` the stream with its
    allowance. `bytes_used` sums the `tests_with_bytes` that told, NaN where none did; `share_percent` is that
    of all the booked rates could have carried.
    """

    tests: int
    down_mbps: float
    up_mbps: float
    lowest_down_mbps: float
    lowest_up_mbps: float
    weak_up_mbps: float
    stream_mbps: float
    need_mbps: float
    tests_short: int
    rtt_ms: float
    loss_percent: float
    tests_with_bytes: int
    bytes_used: float
    share_percent: float

    @property
    def headroom_mbps(self) -> float:
        """What the weakest tenth of the tests left beside the stream; negative: too little."""
        return self.weak_up_mbps - self.need_mbps

    @property
    def bearable_mbps(self) -> float:
        """The stream that the weakest tenth of the tests carries with the same allowance."""
        return self.weak_up_mbps / STREAM_ALLOWANCE


def rates(throughputs: Sequence[Throughput], service: Service, span: Span) -> Rates:
    """Count the tests within `span`; of passive meters only the round-trip times and losses are used."""
    within = [one for one in throughputs if span.contains(one.unix_s)]
    tests = capacity_tests(within)
    up = [rate for test in tests if (rate := uplink_capacity_mbps(test)) is not None]
    down = [test.down_mbps for test in tests if test.down_mbps is not None]
    spent = [test.bytes_used for test in tests if test.bytes_used is not None]
    stream_mbps = _stream_mbps(within, service)
    need_mbps = STREAM_ALLOWANCE * stream_mbps
    bytes_used = float(sum(spent)) if spent else nan
    booked_bytes = _booked_bytes(service, span)
    return Rates(
        tests=len(tests),
        down_mbps=_percentile(down, 50.0),
        up_mbps=_percentile(up, 50.0),
        lowest_down_mbps=min(down, default=nan),
        lowest_up_mbps=min(up, default=nan),
        weak_up_mbps=_percentile(up, HEADROOM_PERCENT),
        stream_mbps=stream_mbps,
        need_mbps=need_mbps,
        tests_short=sum(rate < need_mbps for rate in up),
        rtt_ms=_percentile([one.rtt_ms for one in within if one.rtt_ms is not None], 50.0),
        loss_percent=_percentile([one.loss_percent for one in within if one.loss_percent is not None], 50.0),
        tests_with_bytes=len(spent),
        bytes_used=bytes_used,
        share_percent=100.0 * bytes_used / booked_bytes,
    )


def _stream_mbps(throughputs: Sequence[Throughput], service: Service) -> float:
    """The median rate of the stream while it ran, else the one that the job names."""
    running = [one.stream_mbps for one in throughputs if one.stream_mbps]
    return float(np.median(running)) if running else service.stream_mbps


def _booked_bytes(service: Service, span: Span) -> float:
    seconds = span.end_unix_s - span.start_unix_s
    return (service.down_mbps + service.up_mbps) * 1e6 / BITS_PER_BYTE * seconds


def _percentile(values: Sequence[float], percent: float) -> float:
    return float(np.percentile(values, percent)) if values else nan
