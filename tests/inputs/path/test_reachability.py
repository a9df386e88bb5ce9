"""Probes of the loopback, of hosts in namespaces, and of hosts that are not there."""

from pathlib import Path
from subprocess import run

import pytest

from agent.config import LOOPBACK
from agent.inputs.path.reachability import Settings, collector, default_gateway
from tests.inputs.collectors.running_one import Running, after, run_collector
from tests.inputs.rates.satellite_path import FAR, NEAR, RTT_S, satellite_path, within
from tests.processes import LOADED, free_port

# The order of the columns is that of Linux's net/ipv4/fib_trie.c; the addresses are from RFC 5737.
ROUTES = """Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT
wlan0\t00000000\t010200C0\t0003\t0\t0\t600\t00000000\t0\t0\t0
eth0\t00000000\tFE6433C6\t0003\t0\t0\t100\t00000000\t0\t0\t0
eth0\t006433C6\t00000000\t0001\t0\t0\t100\t00FFFFFF\t0\t0\t0
"""
NO_ROUTES = Path("/nowhere/route")


def spoken(running: Running) -> bool:
    """It has published."""
    return bool(running.messages)


def told_apart(running: Running) -> bool:
    """A round that the computer's other work did not delay: the far host's way within 5 %."""
    return any(
        message["rtt_ms"] == pytest.approx(RTT_S * 1e3, rel=0.05)
        and message["jitter_ms"] < 50.0
        and message["local_rtt_ms"] < 100.0
        and (message["loss_percent"], message["local_loss_percent"]) == (0.0, 0.0)
        for _, message in running.messages
    )


def test_a_closed_port_is_an_answer(tmp_path: Path) -> None:
    """RFC 9293, section 3.10.7.1: a host answers an unexpected SYN with a reset."""
    settings = Settings(
        target=LOOPBACK,
        gateway=LOOPBACK,
        method="tcp",
        port=free_port(),
        gateway_port=free_port(),
        every_s=1.0,
    )
    running = run_collector(collector(settings, tmp_path / "none"), after(spoken))
    _, message = running.messages[0]
    assert (message["loss_percent"], message["local_loss_percent"]) == (0.0, 0.0)
    assert 0.0 < message["rtt_ms"] < 500.0 * LOADED
    assert 0.0 < message["local_rtt_ms"] < 500.0 * LOADED
    assert running.state.finding is None


def test_where_echoes_are_not_allowed_connections_are_timed() -> None:
    settings = Settings(target=LOOPBACK, port=free_port(), every_s=1.0)
    running = run_collector(collector(settings, NO_ROUTES), after(spoken))
    assert running.messages[0][1]["loss_percent"] == 0.0
    assert "no gateway is known" in str(running.state.finding)


def test_a_name_that_nobody_has_is_told() -> None:
    """RFC 6761, section 6.4: no name under .invalid exists."""
    running = run_collector(
        collector(Settings(target="host.invalid", every_s=1.0), NO_ROUTES),
        after(lambda now: now.state.state == "failing"),
    )
    assert "host.invalid" in str(running.state.error)


@pytest.mark.parametrize("method", ["icmp", "tcp"])
def test_the_satellite_and_the_lan_are_told_apart(method: str) -> None:
    """Far host behind 600 ms, which netem or the delay line makes; the own address is next door."""
    with satellite_path() as (near, _):
        everybody = "net.ipv4.ping_group_range=0 2147483647"
        run(["ip", "netns", "exec", near, "sysctl", "-qw", everybody], check=True)
        settings = Settings(target=FAR, gateway=NEAR, method=method, every_s=1.0)  # type: ignore[arg-type]
        running = within(near, lambda: run_collector(collector(settings, NO_ROUTES), after(told_apart)))
    # Nothing is quicker than the way, however busy the computer is.
    assert all(message["rtt_ms"] > RTT_S * 990.0 for _, message in running.messages)


def test_a_host_that_is_not_there_is_loss_and_no_failure() -> None:
    """192.0.2.0/24 is for documentation (RFC 5737), and the namespace has no way to it."""
    with satellite_path(0.0) as (near, _):
        settings = Settings(target="192.0.2.7", gateway=NEAR, method="tcp", every_s=1.0)
        running = within(near, lambda: run_collector(collector(settings, NO_ROUTES), after(spoken)))
    _, message = running.messages[0]
    assert (message["loss_percent"], message["rtt_ms"]) == (100.0, None)
    assert message["local_loss_percent"] == 0.0
    assert "never answered" in str(running.state.finding)


def test_the_gateway_is_that_of_the_best_default_route(tmp_path: Path) -> None:
    table = tmp_path / "route"
    table.write_text(ROUTES)
    assert default_gateway(table) == "198.51.100.254"


def test_the_kernels_own_table_is_read() -> None:
    """What `ip` put in comes out."""
    with satellite_path(0.0) as (near, _):
        run(["ip", "-n", near, "route", "add", "default", "via", FAR], check=True)
        assert within(near, lambda: default_gateway(Path("/proc/thread-self/net/route"))) == FAR


def test_without_a_table_no_gateway_is_known(tmp_path: Path) -> None:
    assert default_gateway(tmp_path / "route") is None
