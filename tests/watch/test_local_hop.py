"""Probes of the terminal's own gateway decide between the LAN and what lies beyond it."""

import pytest

from agent.records import Reach, Throughput
from agent.watch import rate, rate_tests
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import rule_set
from tests.plan.sample_job import job
from tests.watch.sample_day import at, events_of, every, in_order, plan, signal

STREAM_MBPS = 1.0
BOOKED_MBPS = 4.0
MINUTES = 10


def facts(**bad: float) -> tuple[float, float]:
    """Confidence in LAN and in network after ten sound minutes and ten with a low rate and these figures."""
    tests = rate_tests.Tests()
    sound = {"rtt_ms": 600.0, "loss_percent": 0.0, "local_rtt_ms": 2.0, "local_loss_percent": 0.0}
    for minute in range(2 * MINUTES):
        trouble = minute >= MINUTES
        figures = {**sound, **bad} if trouble else sound
        mbps = 1.5 if trouble else 4.0
        unix_s = rate_tests.BIN_S * (minute + 1)
        tests.add(Throughput(unix_s=unix_s, method="active", down_mbps=mbps, up_mbps=mbps))
        tests.add_reach(Reach(unix_s=unix_s, **figures))
    found = rate.rate_facts(tests, BOOKED_MBPS, BOOKED_MBPS, STREAM_MBPS)
    return found.lan_confidence, found.network_confidence


@pytest.mark.parametrize("bad", [{"local_loss_percent": 8.0}, {"local_rtt_ms": 120.0}], ids=["loss", "delay"])
def test_a_bad_local_hop_is_the_lan(bad: dict[str, float]) -> None:
    """Common practice: what is lost before the gateway is not lost in space."""
    lan, network = facts(loss_percent=8.0, **bad)
    assert lan > 0.8
    assert network < 0.2


def test_loss_beyond_a_sound_local_hop_is_not_the_lan() -> None:
    lan, network = facts(loss_percent=8.0)
    assert lan < network


def test_delay_beyond_a_sound_local_hop_is_the_network() -> None:
    lan, network = facts(rtt_ms=1500.0)
    assert network > 0.6
    assert lan < 0.2


@pytest.mark.parametrize("last", [90, 50], ids=["mended", "silent"])
def test_probes_of_the_gateway_alone_are_enough(last: int) -> None:
    """Regression: the engine ended with an error, for want of the time of a test of the rate."""
    probes = [Reach(unix_s=at(one), local_rtt_ms=120.0 if 30 <= one < 60 else 2.0) for one in range(last)]
    events = events_of(in_order([*probes, *signal(every(10.0, 0.0, 90.0), 14.0)]))
    told = [one for one in events if one.rule == "look-at-lan"]
    assert [one.state for one in told] == ["raised", "cleared"]
    assert told[0].evidence[0].startswith("signal fine")
    assert told[1].evidence[0].startswith("not sure any more after")


def test_what_is_not_tested_is_not_slow() -> None:
    """Regression: a round trip that nobody measured counted as a normal one, and raised a rule set to it."""
    one = AlertEngine(job(), plan(), rule_set([{"call-network.rtt_ratio": 1.0}]))
    assert not [event for reading in signal(every(10.0, 0.0, 30.0), 14.0) for event in one.update(reading)]
