"""A real broker, a real dashboard process and a real Chromium for the tests of the pages."""

import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

STARTS_WITHIN_S = 20.0
CHROMIUM_ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]

Serve = Callable[..., str]


def free_port() -> int:
    """A port that was free a moment ago."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def wait_for_port(port: int, process: subprocess.Popen[bytes]) -> None:
    """Return when something listens there; fail when the process ends or the time is up."""
    deadline_s = time.monotonic() + STARTS_WITHIN_S
    while time.monotonic() < deadline_s:
        assert process.poll() is None, f"{process.args!r} ended with {process.returncode}"
        with socket.socket() as probe:
            probe.settimeout(0.2)
            if probe.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.02)
    raise AssertionError(f"{process.args!r} does not listen on port {port} after {STARTS_WITHIN_S} s")


@contextmanager
def running(command: list[str], port: int) -> Iterator[subprocess.Popen[bytes]]:
    """The command while it listens on the port; it is ended on the way out."""
    process = subprocess.Popen(command)
    try:
        wait_for_port(port, process)
        yield process
    finally:
        process.terminate()
        process.wait(10.0)


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, driven by Playwright."""
    executable = shutil.which("chromium")
    if executable is None:
        pytest.skip("no chromium binary on the path (Debian package: chromium)")
    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=executable, args=CHROMIUM_ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def broker_port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """A Mosquitto on the loopback address."""
    executable = shutil.which("mosquitto") or shutil.which("/usr/sbin/mosquitto")
    if executable is None:
        pytest.skip("no mosquitto binary on the path (Debian package: mosquitto)")
    port = free_port()
    config = tmp_path_factory.mktemp("broker") / "mosquitto.conf"
    config.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\npersistence false\nlog_type error\n")
    with running([executable, "-c", str(config)], port):
        yield port


@contextmanager
def dashboards() -> Iterator[Serve]:
    """Starts dashboards and returns their addresses; they end on the way out."""
    with ExitStack() as stack:

        def start(store: Path, mqtt_port: int = 1, *more: str) -> str:
            port = free_port()
            command = [sys.executable, "-m", "dashboard", "--store", str(store)]
            command += ["--mqtt-host", "127.0.0.1", "--mqtt-port", str(mqtt_port), "--port", str(port), *more]
            stack.enter_context(running(command, port))
            return f"http://127.0.0.1:{port}"

        yield start


@pytest.fixture
def serve() -> Iterator[Serve]:
    """Dashboards of one test."""
    with dashboards() as start:
        yield start


@pytest.fixture(scope="module")
def module_serve() -> Iterator[Serve]:
    """Dashboards that the tests of a module share."""
    with dashboards() as start:
        yield start
