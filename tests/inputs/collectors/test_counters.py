"""Interface counters, on trees of files and on this computer's own loopback."""

import os
import shutil
import socket
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from agent.config import LOOPBACK
from agent.inputs.collectors.counters import (
    SYS_CLASS_NET,
    Counts,
    Settings,
    collector,
    passive_fields,
    read_counts,
)
from agent.inputs.collectors.frame import CollectorError
from agent.inputs.collectors.rate_turn import Turn
from tests.inputs.collectors.running_one import Running, after, run_collector


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
    found = passive_fields(Counts(100.0, 0, 5000), Counts(110.0, 2_500_000, 1_255_000), tested=False)
    assert (found["down_mbps"], found["up_mbps"], found["stream_mbps"]) == (2.0, 1.0, 1.0)


def test_during_a_test_of_the_rate_no_stream_is_claimed() -> None:
    found = passive_fields(Counts(0.0, 0, 0), Counts(10.0, 0, 1_250_000), tested=True)
    assert "stream_mbps" not in found


def test_chatter_is_no_stream() -> None:
    found = passive_fields(Counts(0.0, 0, 0), Counts(10.0, 0, 12_000), tested=False)
    assert found["stream_mbps"] == 0.0


def test_a_counter_that_ran_backwards_is_no_rate() -> None:
    with pytest.raises(CollectorError, match="backwards"):
        passive_fields(Counts(0.0, 10, 10), Counts(10.0, 20, 5), tested=False)


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

    running = run_collector(collector(settings, turn(tmp_path)), look)
    assert running.state.failures >= 1
    assert all(topic == "peakshade/van-1/throughput" for topic, _ in running.messages)


def test_rubbish_in_a_counter_is_told(tmp_path: Path) -> None:
    settings = tree(tmp_path, "many", "0")
    running = run_collector(
        collector(settings, turn(tmp_path)), after(lambda now: now.state.state == "failing")
    )
    assert "'many'" in str(running.state.error)
    assert not running.messages
