"""iperf3 itself on the loopback, and what is left of its report where it fails, lies or is old."""

import asyncio
import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from subprocess import DEVNULL, Popen, run

import pytest

from agent.config import LOOPBACK
from agent.inputs.collectors.frame import Collector, CollectorError
from agent.inputs.rates.iperf import PROGRAM, Measurer, Settings, collector, command, read_report
from agent.inputs.rates.turn import Cost
from tests.inputs.collectors.running_one import Running, after, run_collector
from tests.inputs.collectors.servers import watchman
from tests.processes import PATIENCE_S, free_port, wait_until

# The parts of a report of iperf3 3.12 that are used, written down from one; 1 MB in a second are 8 Mbit/s.
REPORT = {
    "start": {"sock_bufsize": 65_536},
    "intervals": [
        {"streams": [{"bytes": 400_000, "snd_wnd": 90_000}, {"bytes": 600_000, "snd_wnd": 80_000}]}
    ],
    "end": {
        "streams": [{"sender": {"min_rtt": 600_000}}, {"sender": {"min_rtt": 610_000}}],
        "sum_received": {"seconds": 1.0, "bytes": 1_000_000, "bits_per_second": 8_000_000.0},
    },
}


@contextmanager
def server(port: int) -> Iterator[None]:
    """iperf3's own server. It takes one client at a time, so that it is not asked whether it listens."""
    if shutil.which(PROGRAM) is None:
        pytest.skip("no iperf3 on the path (Debian package: iperf3)")
    words = [PROGRAM, "--server", "--bind", LOOPBACK, "--port", str(port)]
    process = Popen(words, stdout=DEVNULL, stderr=DEVNULL)
    try:
        wait_until(lambda: f"{port:04X}" in _listening(), PATIENCE_S, "iperf3 listens")
        yield
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def _listening() -> str:
    """Local ports in the kernel's table (Linux, Documentation/networking/proc_net_tcp)."""
    return Path("/proc/net/tcp").read_text() + Path("/proc/net/tcp6").read_text()


def settings(port: int, **others: object) -> Settings:
    """A short test."""
    values: dict[str, object] = {
        "host": LOOPBACK, "port": port, "seconds": 1.0, "omit_s": 0.0, "flows": 2, "test_mb": 10_000.0,
        "day_mb": 1_000_000.0,
    }  # fmt: skip
    return Settings(**values | others)  # type: ignore[arg-type]


def failing(running: Running) -> bool:
    """It has failed."""
    return running.state.state == "failing"


def quick(settings: Settings, folder: Path) -> Collector:
    """The collector, which tries again at once: of a busy computer a test may be cut off."""
    return replace(collector(settings, watchman(folder)), least_retry_s=0.0)


def test_the_real_program_measures_both_directions(tmp_path: Path) -> None:
    port = free_port()
    slow = settings(port, window_bytes=8192, test_mb=10_000.0)
    with server(port):
        running = run_collector(quick(slow, tmp_path), after(lambda now: bool(now.messages)))
    _, message = running.messages[0]
    assert (message["method"], message["flows"]) == ("active", 2)
    assert message["up_mbps"] > 0.0
    assert message["down_mbps"] > 0.0
    assert message["bytes_used"] > 0


def test_no_more_bytes_pass_than_a_test_may_cost(tmp_path: Path) -> None:
    """A loopback is faster than 2 MB in a second."""
    port = free_port()
    with server(port):
        running = run_collector(
            quick(settings(port, directions="up", test_mb=2.0), tmp_path),
            after(lambda now: "test_mb" in str(now.state.error)),
        )
    spent = json.loads((tmp_path / "tests.json").read_text())["bytes"]
    assert spent <= 2_000_000 * running.state.failures


def test_an_absent_server_is_told_and_found_again(tmp_path: Path) -> None:
    port = free_port()
    if shutil.which(PROGRAM) is None:
        pytest.skip("no iperf3 on the path (Debian package: iperf3)")
    made = quick(settings(port, directions="up", window_bytes=8192), tmp_path)

    async def look(running: Running) -> None:
        await running.until(failing)
        with server(port):
            await running.until(lambda now: bool(now.messages))

    running = run_collector(made, look)
    assert running.state.failures >= 1


def test_a_report_is_read() -> None:
    found = read_report(json.dumps(REPORT).encode())
    assert (found.rate_mbps, found.rtt_ms, found.bytes_used) == (8.0, 600.0, 1_000_000)
    # The smaller of what the receiver offers and the buffer holds.
    assert found.window_bytes == 65_536


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (b"", "expected JSON"),
        (b"iperf3: error - no route", "expected JSON"),
        (b'{"error": "the server is busy running a test. try again later"}', "busy"),
        (b"[]", "3.7 or later"),
        (b"{}", "3.7 or later"),
        (json.dumps(REPORT | {"end": {"streams": []}}).encode(), "sum_received"),
        (json.dumps(REPORT | {"intervals": [{"streams": [{}]}]}).encode(), "bytes"),
        (json.dumps(REPORT).replace("8000000.0", "1e999").encode(), "3.7 or later"),
        (json.dumps(REPORT).replace('"seconds": 1.0', '"seconds": 0').encode(), "3.7 or later"),
    ],
)
def test_what_is_no_report_is_told(text: bytes, told: str) -> None:
    with pytest.raises(CollectorError, match=told):
        read_report(text)


def test_without_the_program_the_advice_is_to_install_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "/nowhere")
    with pytest.raises(CollectorError, match="install it"):
        asyncio.run(Measurer(settings(1)).one_way("up", Cost(1000)))


def test_the_program_understands_the_words() -> None:
    """All of them are in its own help."""
    if shutil.which(PROGRAM) is None:
        pytest.skip("no iperf3 on the path (Debian package: iperf3)")
    help_text = run([PROGRAM, "--help"], capture_output=True, text=True, check=True).stdout
    words = command(settings(1, window_bytes=8192), "down", 1.0)
    assert all(word in help_text for word in words if word.startswith("--"))
