"""What others get while one floods the agent's own broker: `python -m tests.bench.floods`.

In turn, two minutes in all: nothing (for comparison), 10,000 messages a second of quality of service 0 by one
sender, the same at quality of service 1 as fast as they are answered, and eight senders of messages of 100 MB
that begin again when they are cut off. Meanwhile another client publishes readings at quality of service 1.
"""

import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from itertools import count
from multiprocessing import Process
from pathlib import Path
from socket import create_connection, socket
from threading import Event, Thread

import psutil

from agent.config import LOOPBACK
from agent.inputs.broker import wire
from agent.inputs.broker.wire import Message
from agent.inputs.messages import reading_topic, to_message
from agent.records import Signal
from tests.bench.ingest import report, wall_clock
from tests.live import TERMINAL, AgentProcess, embedded_at
from tests.processes import PATIENCE_S, free_port

FLOODS = ("nothing", "10,000/s, service 0", "service 1", "eight of 100 MB")
SECONDS = 20.0
PER_SECOND = 10_000
HUGE_BYTES = 100_000_000
BATCH_S = 0.01
LONGEST_P99_S = 1.0
MOST_MEMORY_MB = 150.0
LONGEST_END_S = 5.0
TOPIC = reading_topic(TERMINAL, "signal")


@dataclass(frozen=True)
class Outcome:
    """`acknowledged`: of the other client's readings, p99 in seconds."""

    acknowledged: int
    p99_s: float
    memory_mb: float
    end_s: float


def connected(port: int, name: str) -> socket:
    """A connection that CONNECT opened."""
    one = create_connection((LOOPBACK, port), PATIENCE_S)
    text = len(name).to_bytes(2, "big") + name.encode()
    body = b"\x00\x04MQTT\x04\x02\x00\x00" + text
    one.sendall(bytes([0x10, len(body)]) + body)
    assert one.recv(4) == wire.connack(wire.ACCEPTED, session_present=False)
    return one


def a_reading(number: int, qos: int, kind: str) -> bytes:
    """A packet with a reading that is like no other."""
    reading = Signal(unix_s=time.time(), esno_db=14.0, extra={kind: number})
    return wire.published(Message(TOPIC, to_message(reading), qos), number % 65_535 + 1 if qos else 0, False)


def send(one: socket, data: bytes) -> None:
    """Until the broker has ended."""
    try:
        one.sendall(data)
    except ConnectionError:
        raise SystemExit from None


def read_all(one: socket) -> None:
    """What the broker answers, for nobody."""
    with suppress(ConnectionError):
        while one.recv(65_536):
            pass


def flood_still(port: int) -> None:
    """So many a second, whatever becomes of them."""
    one = connected(port, "flood")
    batch = round(PER_SECOND * BATCH_S)
    started_s = time.monotonic()
    for turn in count():
        send(one, b"".join(a_reading(turn * batch + number, 0, "flood") for number in range(batch)))
        time.sleep(max(0.0, started_s + turn * BATCH_S - time.monotonic()))


def flood_answered(port: int) -> None:
    """As many as the broker takes; the answers are read and thrown away."""
    one = connected(port, "flood")
    Thread(target=read_all, args=(one,), daemon=True).start()
    for number in count():
        send(one, a_reading(number, 1, "flood"))


def flood_huge(port: int) -> None:
    """One huge message after the other."""
    header = bytes.fromhex("3080c2d72f")  # 100,000,000 by table 2.4
    for number in count():
        try:
            with connected(port, f"huge-{number % 8}") as one:
                one.sendall(header)
                for _ in range(HUGE_BYTES // 1_000_000):
                    one.sendall(bytes(1_000_000))
        except OSError:
            time.sleep(0.05)


def senders(flood: str, port: int) -> list[Process]:
    """The processes that flood."""
    targets = {"10,000/s, service 0": [flood_still], "service 1": [flood_answered]}
    chosen = targets.get(flood, [flood_huge] * 8 if flood.startswith("eight") else [])
    return [Process(target=one, args=(port,), daemon=True) for one in chosen]


def publish_one_by_one(port: int, until_s: float) -> list[float]:
    """Seconds to each answer of a client that waits for it before the next."""
    waited: list[float] = []
    with connected(port, "device") as one:
        for number in count():
            if time.monotonic() >= until_s:
                return waited
            started_s = time.monotonic()
            one.sendall(a_reading(number, 1, "device"))
            assert len(one.recv(4)) == 4, "the broker has closed the connection"
            waited.append(time.monotonic() - started_s)
            time.sleep(0.02)
    raise AssertionError("the count has ended")


def watch_memory(pid: int, most: list[float], stop: Event) -> None:
    """The most resident memory, in MB."""
    process = psutil.Process(pid)
    while not stop.wait(0.1):
        most.append(process.memory_info().rss / 2**20)


def measure(flood: str, folder: Path, seconds: float) -> Outcome:
    """One flood against an agent of its own."""
    port = free_port()
    agent = AgentProcess(folder / "flood.sqlite3", embedded_at(port), wall_clock())
    agent.start()
    most, stop = [0.0], Event()
    watcher = Thread(target=watch_memory, args=(agent.pid, most, stop))
    watcher.start()
    flooding = senders(flood, port)
    for one in flooding:
        one.start()
    waited = sorted(publish_one_by_one(port, time.monotonic() + seconds))
    stop.set()
    watcher.join()
    started_s = time.monotonic()
    assert agent.stop() == 0
    end_s = time.monotonic() - started_s
    for one in flooding:
        one.kill()
    return Outcome(len(waited), waited[int(0.99 * len(waited))], max(most), end_s)


def main() -> None:
    """Measure each flood."""
    for flood in FLOODS:
        with tempfile.TemporaryDirectory(prefix="peakshade-bench-") as folder:
            found = measure(flood, Path(folder), SECONDS)
        print(f"{flood}: {found.acknowledged} readings of another client acknowledged")
        report("  their p99", found.p99_s, LONGEST_P99_S, "s")
        report("  memory", found.memory_mb, MOST_MEMORY_MB, "MB")
        report("  end after SIGTERM", found.end_s, LONGEST_END_S, "s")


if __name__ == "__main__":
    main()
