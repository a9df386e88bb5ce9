"""Probes of the terminal's own gateway decide between the LAN and what lies beyond it."""

import pytest

from agent.records import Reach, Throughput
from agent.watch import rate, rate_tests

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
