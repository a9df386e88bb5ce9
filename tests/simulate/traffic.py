"""What interface counters, pings and tests of the rate report of the physical day."""

from dataclasses import dataclass

import numpy as np

from agent.records import AnyReading, Throughput
from tests.simulate.physics import PhysicalDay
from tests.simulate.scenario import Scenario, Sensors
from tests.simulate.ticks import Ticks

TEST_S = 10.0
OFFLINE_LOSS_PERCENT = 100.0


def throughput_of(
    scenario: Scenario, day: PhysicalDay, slow: Ticks, rng: np.random.Generator
) -> list[AnyReading]:
    """What the interface counters and pings see all the time, and a test now and then."""
    sensors = scenario.sensors
    tests = {int(at_s) for at_s in np.arange(sensors.test_step_s, len(day.unix_s), sensors.test_step_s)}
    readings: list[AnyReading] = []
    last = -1
    for index, unix_s in zip(slow.index.tolist(), slow.unix_s.tolist(), strict=True):
        due = any(second in tests for second in range(last + 1, index + 1))
        last = index
        link = _path(day, index, rng)
        readings.append(_passive(day, index, unix_s, link, rng))
        if due and link.rtt_ms is not None:
            readings.append(_test(sensors, day, (index, unix_s), link, rng))
    return readings


@dataclass(frozen=True, slots=True)
class _Path:
    rtt_ms: float | None
    jitter_ms: float | None
    loss_percent: float
    sent_mbps: float


def _path(day: PhysicalDay, index: int, rng: np.random.Generator) -> _Path:
    """Delay and loss of pings, and what of the stream gets through, at one second."""
    if day.down_mbps[index] <= 0.0 or day.up_mbps[index] <= 0.0:
        return _Path(None, None, OFFLINE_LOSS_PERCENT, 0.0)
    stream, room = day.stream_mbps[index], day.up_mbps[index]
    added = day.truth.added_rtt_ms[index] + (600.0 if stream > room else 0.0)
    overload = 100.0 * max(stream - room, 0.0) / max(stream, 1e-9)
    # A bad hop repeats packets and lets them wait: it jitters at the same round trip.
    jitter_ms = 3.0 + 0.08 * added + 1.5 * day.truth.lan_loss_percent[index]
    lost = day.truth.lan_loss_percent[index] + overload + 0.002 * day.truth.added_rtt_ms[index]
    return _Path(
        rtt_ms=round(float(day.link.rtt_ms + added + 8.0 * abs(rng.standard_normal())), 1),
        jitter_ms=round(float(jitter_ms + abs(rng.standard_normal())), 1),
        loss_percent=round(float(min(lost + (rng.random() < 0.02) * 1.0, 100.0)), 1),
        sent_mbps=float(min(stream, room) * (1.0 - day.truth.lan_loss_percent[index] / 100.0)),
    )


def _passive(
    day: PhysicalDay, index: int, unix_s: float, path: _Path, rng: np.random.Generator
) -> Throughput:
    idle = 0.0 if path.rtt_ms is None else float(0.12 * np.exp(0.5 * rng.standard_normal()))
    return Throughput(
        unix_s=unix_s,
        method="passive",
        down_mbps=round(min(idle, float(day.down_mbps[index])), 2),
        up_mbps=round(path.sent_mbps + 0.05 * idle, 2),
        rtt_ms=path.rtt_ms,
        jitter_ms=path.jitter_ms,
        loss_percent=path.loss_percent,
        stream_mbps=round(float(day.stream_mbps[index]), 2),
    )


def _test(
    sensors: Sensors, day: PhysicalDay, at: tuple[int, float], path: _Path, rng: np.random.Generator
) -> Throughput:
    """A test of ten seconds: what the carrier has left beside the stream, and not above window over RTT."""
    index, unix_s = at
    rtt_ms = path.rtt_ms if path.rtt_ms is not None else day.link.rtt_ms
    window_mbps = sensors.flows * sensors.window_bytes * 8.0 / rtt_ms / 1000.0
    spread = 1.0 + 0.02 * rng.standard_normal(2)
    down = min(float(day.down_mbps[index]), window_mbps) * spread[0]
    up = min(max(float(day.up_mbps[index] - day.stream_mbps[index]), 0.05), window_mbps) * spread[1]
    return Throughput(
        unix_s=unix_s,
        method="active",
        down_mbps=round(float(down), 2),
        up_mbps=round(float(up), 2),
        rtt_ms=path.rtt_ms,
        jitter_ms=path.jitter_ms,
        loss_percent=path.loss_percent,
        bytes_used=int((down + up) * TEST_S * 1e6 / 8.0),
        stream_mbps=round(float(day.stream_mbps[index]), 2),
        window_bytes=sensors.window_bytes,
        flows=sensors.flows,
    )
