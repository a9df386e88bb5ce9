"""Availability of the booked rates, by hand."""

from dataclasses import replace
from math import isnan, nan

import pytest

from agent.job import Service
from agent.link_plan import LinkPlan
from agent.plan.span import Span
from agent.records import Signal, Throughput
from agent.report.availability import availabilities, carries, carries_rate
from tests.watch.sample_day import plan as sample_plan

SERVICE = Service(down_mbps=4.0, up_mbps=4.0, stream_mbps=1.5, availability_percent=99.5)
TEN_MINUTES = Span(0.0, 600.0)


def plan(down_db: float = 5.0, up_db: float = 3.0) -> LinkPlan:
    """A plan whose booked rates need these."""
    base = sample_plan()
    return replace(
        base,
        downlink=replace(base.downlink, required_esno_db=down_db),
        uplink=replace(base.uplink, required_esno_db=up_db),
    )


def active(unix_s: float, down: float | None, up: float | None, **more: float | int) -> Throughput:
    """A test that fills the link."""
    return Throughput(unix_s=unix_s, method="active", down_mbps=down, up_mbps=up, **more)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("signal", "good"),
    [
        (Signal(unix_s=0.0, esno_db=5.0), True),
        (Signal(unix_s=0.0, esno_db=4.9), False),
        (Signal(unix_s=0.0, esno_db=9.0, uplink_esno_db=3.0), True),
        (Signal(unix_s=0.0, esno_db=9.0, uplink_esno_db=2.9), False),
        (Signal(unix_s=0.0, esno_db=9.0, locked=False), False),
        (Signal(unix_s=0.0, quality_percent=80.0), None),
        (Signal(unix_s=0.0, quality_percent=0.0, locked=False), False),
        (Signal(unix_s=0.0, cn_db=12.0), None),
    ],
)
def test_a_signal_carries_the_booked_rates(signal: Signal, good: bool | None) -> None:
    assert carries_rate(signal, plan()) is good


def test_without_a_modcod_for_the_rate_nothing_is_said() -> None:
    assert carries_rate(Signal(unix_s=0.0, esno_db=9.0), plan(down_db=nan)) is None
    both_ways = Signal(unix_s=0.0, esno_db=9.0, uplink_esno_db=9.0)
    assert carries_rate(both_ways, plan(up_db=nan)) is None


@pytest.mark.parametrize(
    ("test", "good"),
    [
        (active(0.0, 3.6, 3.6), True),
        (active(0.0, 3.59, 4.0), False),
        (active(0.0, 4.0, None), True),
        (active(0.0, 4.0, 2.2), False),
        # The stream of 1.5 Mbit/s ran beside the test: the uplink carried 3.7.
        (active(0.0, 4.0, 2.2, stream_mbps=1.5), True),
        # RFC 6349, section 3.3.1: 64 KiB at 600 ms cannot give more than 0.874 Mbit/s.
        (active(0.0, 0.85, 0.85, window_bytes=65_536, rtt_ms=600.0), None),
        (active(0.0, 0.5, 0.5, window_bytes=65_536, rtt_ms=600.0), False),
    ],
)
def test_a_test_reaches_the_booked_rates(test: Throughput, good: bool | None) -> None:
    assert carries(test, SERVICE) is good


def test_ten_minutes_by_hand() -> None:
    """Signal bad from 120 to 180 s; tests each 120 s, that of 240 s fails: 60 + 120 s of 600 are below."""
    signals = [Signal(unix_s=10.0 * k, esno_db=4.0 if 12 <= k < 18 else 8.0) for k in range(60)]
    tests = [active(120.0 * k, 4.0, 1.0 if k == 2 else 4.0) for k in range(5)]
    passive = [Throughput(unix_s=60.0 * k, method="passive", down_mbps=0.1) for k in range(10)]
    found = availabilities(signals, [*tests, *passive], plan(), SERVICE, TEN_MINUTES)
    assert found.signal.percent == pytest.approx(90.0)
    assert found.tests.percent == pytest.approx(80.0)
    assert found.both.percent == pytest.approx(70.0)
    assert found.both.known_percent == pytest.approx(100.0)
    assert found.both.below == (Span(120.0, 180.0), Span(240.0, 360.0))
    assert found.both.longest_below_s == 120.0
    assert (found.tests_judged, found.tests_good, found.tests_window_limited) == (5, 4, 0)


def test_what_was_not_measured_is_not_zero() -> None:
    found = availabilities([], [], plan(), SERVICE, TEN_MINUTES)
    for one in (found.signal, found.tests, found.both):
        assert isnan(one.percent)
        assert isnan(one.longest_below_s)
        assert one.known_percent == 0.0


def test_a_day_that_was_good_throughout() -> None:
    signals = [Signal(unix_s=10.0 * k, esno_db=8.0) for k in range(60)]
    found = availabilities(signals, [], plan(), SERVICE, TEN_MINUTES)
    assert found.signal.percent == 100.0
    assert found.signal.longest_below_s == 0.0
    assert isnan(found.both.percent)
