"""A real dashboard process for the tests of the pages."""

import json
import queue
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest

from agent.config import LOOPBACK
from tests.dashboard.stores import NEVER_SILENT_S
from tests.processes import PATIENCE_S, Mosquitto, free_port, listens, wait_until

Serve = Callable[..., str]
Heard = Callable[[], tuple[str, dict[str, object]]]


@contextmanager
def running(command: list[str], port: int) -> Iterator[subprocess.Popen[bytes]]:
    """The command while it listens on the port; it is ended on the way out."""
    process = subprocess.Popen(command)
    try:
        wait_until(lambda: process.poll() is not None or listens(port), PATIENCE_S, f"port {port}")
        assert process.poll() is None, f"{command} ended with {process.returncode}"
        yield process
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


@contextmanager
def dashboards() -> Iterator[Serve]:
    """Starts dashboards and returns their addresses; they end on the way out."""
    with ExitStack() as stack:

        def start(store: Path, mqtt_port: int = 1, *more: str) -> str:
            port = free_port()
            command = [sys.executable, "-m", "dashboard", "--store", str(store)]
            command += ["--mqtt-host", "127.0.0.1", "--mqtt-port", str(mqtt_port), "--port", str(port)]
            command += ["--silent-after-s", str(NEVER_SILENT_S), *more]
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


@pytest.fixture
def heard(mosquitto: Mosquitto) -> Iterator[Heard]:
    """Gives the next message that somebody publishes for a terminal."""
    messages: queue.Queue[tuple[str, dict[str, object]]] = queue.Queue()
    subscribed: queue.Queue[int] = queue.Queue()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: messages.put(
        (message.topic, json.loads(message.payload))
    )
    client.on_subscribe = lambda _client, _data, mid, *_rest: subscribed.put(mid)
    client.connect(LOOPBACK, mosquitto.port)
    client.loop_start()
    client.subscribe("peakshade/#", qos=1)
    subscribed.get(timeout=PATIENCE_S)
    yield lambda: messages.get(timeout=PATIENCE_S)
    client.disconnect()
    client.loop_stop()
