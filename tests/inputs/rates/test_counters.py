"""Interface counters, on trees of files and on this computer's own loopback."""

import os
import shutil
import socket
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from agent.config import LOOPBACK
from agent.inputs.collectors.frame import CollectorError
from agent.inputs.rates.counters import (
    SYS_CLASS_NET,
    Counts,
    Settings,
    StreamRate,
    collector,
    passive_fields,
    read_counts,
)
from agent.inputs.rates.turn import Turn
from agent.records import Reach, Throughput
from agent.watch import rate, rate_tests
from tests.inputs.collectors.running_one import NOW_UNIX_S, Running, after, run_collector


def tree(folder: Path, received: str, sent: str) -> Settings:
    """An interface as the kernel shows it (Linux, Documentation/ABI/testing/sysfs-class-net-statistics)."""
    statistics = folder / "sat0" / "statistics"
    statistics.mkdir(parents=True, exist_ok=True)
    (statistics / "rx_bytes").write_text(f"{received}\n")
    (statistics / "tx_bytes").write_text(f"{sent}\n")
    return Settings(interface="sat0", every_s=1.0, base=str(folder))


def turn(folder: Path) -> Turn:
    """A turn that nobody has."""
    return Turn(folder / "tests.json", ZoneInfo("UTC"))


def test_a_rate_is_bits_over_seconds() -> None:
    """SI: a megabit is 1,000,000 bits (IEC 80000-13); 1.25 MB in ten seconds are 1 Mbit/s."""
    found = passive_fields(Counts(100.0, 0, 5000), Counts(110.0, 2_500_000, 1_255_000), None)
    assert (found["down_mbps"], found["up_mbps"]) == (2.0, 1.0)


def test_during_a_test_of_the_rate_no_stream_is_claimed() -> None:
    assert "stream_mbps" not in passive_fields(Counts(0.0, 0, 0), Counts(10.0, 0, 1_250_000), None)


def after_looks(*up_mbps: float, configured_mbps: float = 3.0) -> StreamRate:
    """A look every ten seconds at what goes up."""
    stream = StreamRate(configured_mbps)
    for one in up_mbps:
        stream.add(10.0, one)
    return stream


def test_chatter_for_a_minute_is_no_stream() -> None:
    assert after_looks(*[0.01] * 6).mbps == 0.0
    assert after_looks(*[2.0] * 6, *[0.01] * 5).mbps == 2.0
    assert after_looks(*[2.0] * 6, *[0.01] * 6).mbps == 0.0


def test_the_stream_is_its_best_minute_and_at_most_what_is_configured() -> None:
    assert after_looks(*[2.0] * 5).mbps is None
    assert after_looks(*[2.0] * 6).mbps == 2.0
    assert after_looks(*[2.0] * 6, *[0.5] * 60).mbps == 2.0
    # A key frame is no rate, and an upload of something else no stream.
    assert after_looks(*[1.8, 2.2] * 6).mbps == 2.0
    assert after_looks(*[2.0] * 6, *[9.0] * 6).mbps == 3.0


def test_a_stream_that_was_stopped_and_set_lower_is_learnt_anew() -> None:
    assert after_looks(*[2.0] * 6, *[0.0] * 6, *[1.0] * 3).mbps is None
    assert after_looks(*[2.0] * 6, *[0.0] * 6, *[1.0] * 6).mbps == 1.0


def test_a_stream_that_falters_is_laid_to_the_hop_that_loses() -> None:
    """Common practice: what is lost before the gateway is not lost in space."""
    stream, tests = StreamRate(3.0), rate_tests.Tests()
    for look in range(120):
        falters = look >= 60
        up_mbps, unix_s = (0.9 if falters else 2.0), NOW_UNIX_S + 10.0 * look
        stream.add(10.0, up_mbps)
        tests.add(Throughput(unix_s=unix_s, method="passive", up_mbps=up_mbps, stream_mbps=stream.mbps))
        loss_percent = 8.0 if falters else 0.0
        tests.add_reach(Reach(unix_s=unix_s, loss_percent=loss_percent, local_loss_percent=loss_percent))
    found = rate.rate_facts(tests, 4.0, 4.0, 2.0)
    assert found.ratio == pytest.approx(0.45, abs=0.01)
    assert found.lan_confidence > 0.8


def test_a_counter_that_ran_backwards_is_no_rate() -> None:
    with pytest.raises(CollectorError, match="backwards"):
        passive_fields(Counts(0.0, 10, 10), Counts(10.0, 20, 5), None)


def test_an_interface_towards_the_encoder_is_read_the_other_way_round(tmp_path: Path) -> None:
    settings = tree(tmp_path, "1000", "7")
    found = read_counts(Settings(interface="sat0", base=settings.base, reversed=True))
    assert (found.down_bytes, found.up_bytes) == (7, 1000)


def test_the_kernels_own_counters_count_what_is_sent() -> None:
    if not (SYS_CLASS_NET / "lo").exists():
        pytest.skip("no Linux interface lo")
    settings = Settings(interface="lo")
    before = read_counts(settings)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.bind((LOOPBACK, 0))
        for _ in range(100):
            sender.sendto(os.urandom(10_000), sender.getsockname())
            sender.recv(10_000)
    now = read_counts(settings)
    assert now.up_bytes - before.up_bytes >= 1_000_000
    assert now.down_bytes - before.down_bytes >= 1_000_000


def test_an_interface_may_go_and_come_back(tmp_path: Path) -> None:
    settings = tree(tmp_path, "0", "0")

    async def look(running: Running) -> None:
        await running.until(lambda now: now.state.state == "ok")
        shutil.rmtree(tmp_path / "sat0")
        await running.until(lambda now: now.state.state == "failing")
        tree(tmp_path, "0", "0")
        await running.until(lambda now: now.state.state == "ok")

    running = run_collector(collector(settings, turn(tmp_path), 2.0), look)
    assert running.state.failures >= 1
    assert all(topic == "peakshade/van-1/throughput" for topic, _ in running.messages)


def test_rubbish_in_a_counter_is_told(tmp_path: Path) -> None:
    settings = tree(tmp_path, "many", "0")
    running = run_collector(
        collector(settings, turn(tmp_path), 2.0), after(lambda now: now.state.state == "failing")
    )
    assert "'many'" in str(running.state.error)
    assert not running.messages
