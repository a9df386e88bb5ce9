"""What the live agent costs: `python -m tests.bench.ingest`. Needs Mosquitto; takes about two minutes.

Rates are ratios to a subscriber that does nothing, in the same run; latency and processor time are
those of an agent process.
"""

import asyncio
import json
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path

import aiomqtt
import paho.mqtt.client as paho
import psutil
from paho.mqtt.enums import CallbackAPIVersion

from agent.clock import Clock, computer_clock, played_clock
from agent.config import LOOPBACK, BrokerSettings
from agent.inputs.messages import alert_topic, reading_topic, rfc3339
from agent.records import Acknowledge, AnyReading, Power, Signal, Temperature, Throughput
from agent.service.live import Agent, run_agent
from agent.store.opening import open_for_reading, open_for_writing
from agent.watch.rule_set import default_rules
from tests.live import ROOT, TERMINAL, AgentProcess, Device, config_for, embedded_at, sample_plan
from tests.processes import PATIENCE_S, Mosquitto, free_port, wait_until

MESSAGES = 20_000
PER_SECOND = 5.0
ACKNOWLEDGEMENTS = 100
TURNS = 3
WARM_S, STEADY_S = 5.0, 20.0
LOOK_EVERY_S = 0.05
# How fast the hold of an alert passes before its acknowledgements are timed.
LATENCY_SPEED = 1.0
COMMITS = 200
# Mosquitto's default: each group waits for the disk with 20 messages. And what the agent wants of a broker.
IN_FLIGHT = (20, 200)
EVERY_KIND = reading_topic(TERMINAL, "+")
AGENT_ID = f"peakshade-{TERMINAL}"

LEAST_RATIO = 0.60
LONGEST_LATENCY_MS = 250.0
MOST_PROCESSOR_PERCENT = 3.0
LONGEST_START_S = 1.5
LONGEST_HELP_S = 0.3


def some_readings(count: int, start_unix_s: float) -> Iterator[AnyReading]:
    """Readings as a well-equipped terminal publishes them, five a second."""
    for number in range(count):
        unix_s = start_unix_s + number / PER_SECOND
        if number % 5 == 3:
            yield Temperature(unix_s=unix_s, where="transmitter", temperature_degc=40.0 + number % 7 / 10.0)
        elif number % 50 == 4:
            yield Throughput(unix_s=unix_s, method="active", down_mbps=3.9, up_mbps=3.8, rtt_ms=610.0)
        else:
            level_db = 14.0 + number % 9 / 10.0
            yield Signal(unix_s=unix_s, esno_db=level_db, uplink_esno_db=9.5, rx_level_dbm=-48.0, locked=True)


def wall_clock() -> Clock:
    """Real time, shared with a process of the agent."""
    return computer_clock()


def client_of(broker: BrokerSettings, client_id: str, clean: bool) -> paho.Client:
    """A connected client whose network runs in a thread."""
    client = paho.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=clean)
    client.connect(LOOPBACK, broker.port)
    client.loop_start()
    wait_until(client.is_connected, PATIENCE_S, "connected")
    return client


def close(client: paho.Client) -> None:
    """Disconnect."""
    client.disconnect()
    client.loop_stop()


def fill(broker: BrokerSettings, client_id: str, readings: Sequence[AnyReading]) -> None:
    """Let the broker keep these messages for a client that is away."""
    client = client_of(broker, client_id, clean=False)
    subscribed = threading.Event()
    client.on_subscribe = lambda *_: subscribed.set()
    client.subscribe(EVERY_KIND, qos=1)
    assert subscribed.wait(PATIENCE_S)
    close(client)
    device = Device(broker.port, f"filler-of-{client_id}")
    for one in readings:
        device.publish(one)
    wait_until(lambda: device.unanswered() == 0, PATIENCE_S, "the broker has everything")
    device.close()


async def idle_rate(broker: BrokerSettings) -> float:
    """Messages a second that a subscriber takes which does nothing with them."""
    async with aiomqtt.Client(LOOPBACK, broker.port, identifier="idle", clean_session=False) as client:
        received, started_s = 0, time.perf_counter()
        async for _ in client.messages:
            received += 1
            if received == MESSAGES:
                break
        return received / (time.perf_counter() - started_s)


async def agent_rate(broker: BrokerSettings, store: Path) -> float:
    """Messages a second that the agent validates, stores and judges."""
    config = config_for(store, broker, tolerance_s=86_400.0)
    agent = Agent(config, sample_plan(), default_rules(), wall_clock(), lambda _: None)
    stop = asyncio.Event()
    seen: list[tuple[float, int]] = []

    async def watch() -> None:
        with closing(open_for_reading(store)) as connection:
            while not seen or seen[-1][1] < MESSAGES:
                await asyncio.sleep(LOOK_EVERY_S)
                (count,) = connection.execute("SELECT count(*) FROM seen").fetchone()
                if count:
                    seen.append((time.perf_counter(), count))
        stop.set()

    await run_agent(agent, stop, {"watch": watch})
    (first_s, before), (last_s, after) = seen[0], seen[-1]
    # A quick agent may have all of a short run before the second look.
    return (after - before) / max(last_s - first_s, LOOK_EVERY_S)


def compare_rates(folder: Path, in_flight: int) -> None:
    """The agent against a subscriber that does nothing, on the same broker, in turn."""
    ratios = []
    for turn in range(TURNS):
        mosquitto = Mosquitto(folder, in_flight)
        mosquitto.start()
        readings = list(some_readings(MESSAGES, time.time() - MESSAGES / PER_SECOND))
        fill(mosquitto.settings, "idle", readings)
        idle = asyncio.run(idle_rate(mosquitto.settings))
        close(client_of(mosquitto.settings, "idle", clean=True))
        fill(mosquitto.settings, AGENT_ID, readings)
        ours = asyncio.run(agent_rate(mosquitto.settings, folder / f"rate-{in_flight}-{turn}.sqlite3"))
        close(client_of(mosquitto.settings, AGENT_ID, clean=True))
        mosquitto.stop()
        print(f"  idle {idle:.0f}/s, agent {ours:.0f}/s, ratio {ours / idle:.2f}")
        ratios.append(ours / idle)
    name = f"rate against an idle subscriber, {in_flight} in flight"
    report(name, statistics.median(ratios), LEAST_RATIO, "", more=True)


class AlertListener:
    """Hears when the agent publishes an alert, which it does once it is stored."""

    def __init__(self, broker: BrokerSettings, rule: str) -> None:
        self.heard: dict[str, float] = {}
        self._client = client_of(broker, "listener", clean=True)
        self._client.on_message = self._on_message
        self._client.subscribe(alert_topic(TERMINAL, rule), qos=1)

    def _on_message(self, _client: object, _data: object, message: paho.MQTTMessage) -> None:
        self.heard.setdefault(json.loads(message.payload)["time"], time.perf_counter())

    def close(self) -> None:
        """Disconnect."""
        close(self._client)


def measure_latency(broker: BrokerSettings, folder: Path) -> None:
    """From publishing an acknowledgement to hearing its event, with fifty readings a second beside it."""
    clock = played_clock(time.time(), LATENCY_SPEED)
    agent = AgentProcess(folder / f"latency-{broker.embedded}.sqlite3", broker, clock)
    agent.start()
    listener, device = AlertListener(broker, "on-battery"), Device(broker.port)
    device.publish(Power(unix_s=clock.now(), source="mains"))
    sent: dict[str, float] = {}
    for number in range(10_000):
        time.sleep(0.02)
        device.publish(Signal(unix_s=clock.now(), esno_db=14.0 + number % 9 / 10.0))
        if number % 50 == 49:
            device.publish(Power(unix_s=clock.now(), source="battery", battery_percent=80.0))
        if listener.heard and number % 10 == 5:
            stamp_unix_s = round(clock.now(), 3)
            sent[rfc3339(stamp_unix_s)] = time.perf_counter()
            device.publish(Acknowledge(unix_s=stamp_unix_s, rule="on-battery"))
        if len(sent) == ACKNOWLEDGEMENTS:
            break
    last_s = list(sent.values())[-1]
    # By when, not by its time: what comes late counts as of the engine's latest.
    wait_until(lambda: max(listener.heard.values()) > last_s, PATIENCE_S, "the last answer is published")
    agent.stop()
    device.close()
    listener.close()
    found = sorted((listener.heard[key] - at_s) * 1e3 for key, at_s in sent.items() if key in listener.heard)
    print(f"  {len(found)} of {len(sent)} heard, median {statistics.median(found):.0f} ms")
    report(
        f"publish to stored alert, p99, {name_of(broker)}",
        found[int(0.99 * len(found)) - 1],
        LONGEST_LATENCY_MS,
        "ms",
    )


def measure_steady(broker: BrokerSettings, folder: Path) -> None:
    """Processor time at five readings a second."""
    clock = wall_clock()
    agent = AgentProcess(folder / f"steady-{broker.embedded}.sqlite3", broker, clock)
    started_s = time.perf_counter()
    agent.start()
    start_s = time.perf_counter() - started_s
    device = Device(broker.port)
    process = psutil.Process(agent.pid)
    readings = list(some_readings(int((WARM_S + STEADY_S) * PER_SECOND), clock.now()))
    before, started_s = 0.0, 0.0
    for number, one in enumerate(readings):
        if number == int(WARM_S * PER_SECOND):
            before, started_s = sum(process.cpu_times()[:2]), time.perf_counter()
        time.sleep(1.0 / PER_SECOND)
        device.publish(one)
    used_s = sum(process.cpu_times()[:2]) - before
    percent = 100.0 * used_s / (time.perf_counter() - started_s)
    agent.stop()
    device.close()
    report(f"processor at 5 readings/s, {name_of(broker)}", percent, MOST_PROCESSOR_PERCENT, "%")
    report(f"start to online, {name_of(broker)}", start_s, LONGEST_START_S, "s")


def measure_commits(folder: Path) -> None:
    """What waiting for the disk costs a group of messages."""
    connection = open_for_writing(folder / "commits.sqlite3", 0.0)
    for mode in ("FULL", "NORMAL"):
        connection.execute(f"PRAGMA synchronous = {mode}")
        started_s = time.perf_counter()
        for number in range(COMMITS):
            connection.execute("INSERT INTO seen VALUES (?, 0.0)", (f"{mode} {number}".encode(),))
        print(f"  synchronous={mode}: {(time.perf_counter() - started_s) / COMMITS * 1e3:.2f} ms a commit")
    connection.close()


def measure_help() -> None:
    """The command line's own start."""
    started_s = time.perf_counter()
    subprocess.run([sys.executable, "-m", "agent", "--help"], check=True, cwd=ROOT, stdout=subprocess.PIPE)
    report("peakshade --help", time.perf_counter() - started_s, LONGEST_HELP_S, "s")


def name_of(broker: BrokerSettings) -> str:
    """Which broker, in a line."""
    return "own broker" if broker.embedded else "Mosquitto"


def report(what: str, found: float, figure: float, unit: str, more: bool = False) -> None:
    """One line, with the figure to reach."""
    reached = found >= figure if more else found <= figure
    sign = ">=" if more else "<="
    print(
        f"{'reached' if reached else 'MISSED '}  {what}: {found:.2f} {unit} ({sign} {figure:g})", flush=True
    )


def main() -> None:
    """Measure everything in a folder that is removed."""
    with tempfile.TemporaryDirectory(prefix="peakshade-bench-") as made:
        folder = Path(made)
        measure_help()
        measure_commits(folder)
        for in_flight in IN_FLIGHT:
            compare_rates(folder, in_flight)
        mosquitto = Mosquitto(folder)
        mosquitto.start()
        for broker in (mosquitto.settings, embedded_at(free_port())):
            measure_steady(broker, folder)
            measure_latency(broker, folder)
        mosquitto.stop()


if __name__ == "__main__":
    main()
