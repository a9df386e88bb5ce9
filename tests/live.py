"""A live agent for tests: its settings without a plan to compute, its process, its readings and events."""

import json
import signal
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Iterable, Sequence
from contextlib import closing
from dataclasses import asdict, replace
from pathlib import Path
from uuid import uuid4

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from agent.clock import Clock
from agent.config import LOOPBACK, BrokerSettings, Config, DashboardSettings, StoreSettings
from agent.config_notify import REMIND_ACT_S
from agent.inputs.messages import kind_of, reading_topic, status_topic, to_message
from agent.link_plan import LinkPlan
from agent.records import AlertEvent, AnyReading, Note
from agent.service.live import Agent
from agent.service.taps import named
from agent.store.opening import open_for_reading
from agent.store.reader import readings_after, situations
from agent.store.writer import StoreWriter
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.plan.sample_job import job
from tests.processes import LOOK_EVERY_S, PATIENCE_S, broker_at, wait_until
from tests.watch.sample_day import FULL_DAY_PASS, MIDNIGHT_UNIX_S, plan

ROOT = Path(__file__).resolve().parent.parent
TERMINAL = job().terminal
EVENT_COLUMNS = (
    "unix_s, rule, severity, state, cause, action, evidence, figures, deadline_unix_s"  # all but the ids
)


def config_for(store: Path, broker: BrokerSettings, tolerance_s: float = 120.0) -> Config:
    """The settings of the sample job's agent."""
    return Config(
        path=store.with_suffix(".toml"),
        job=job(),
        broker=broker,
        store=StoreSettings(path=store),
        dashboard=DashboardSettings(),
        clock_tolerance_s=tolerance_s,
        rules=None,
    )


def sample_plan() -> LinkPlan:
    """The plan of the sample day, with the times that the stored plan needs."""
    made = plan((FULL_DAY_PASS,))
    return replace(
        made,
        start_unix_s=MIDNIGHT_UNIX_S,
        end_unix_s=MIDNIGHT_UNIX_S + 86_400.0,
        heat=replace(made.heat, shade_by_unix_s=None),
    )


def sample_agent(store: Path, broker: BrokerSettings, clock: Clock) -> Agent:
    """The agent of the sample day, which tells nobody of its events."""
    return Agent(config_for(store, broker), sample_plan(), default_rules(), clock, lambda _: None)


class AgentProcess:
    """The live agent in a process of its own, to be killed."""

    def __init__(
        self,
        store: Path,
        broker: BrokerSettings,
        clock: Clock,
        remind_act_s: float = REMIND_ACT_S,
        wrong: Path | None = None,
    ) -> None:
        """`wrong`: a file with the seconds by which the computer's clock is wrong."""
        self.store = store
        self.port = broker.port
        spec: dict[str, object] = {
            "store": str(store),
            "port": broker.port,
            "embedded": broker.embedded,
            "clock": asdict(clock),
            "remind_act_s": remind_act_s,
            "wrong": None if wrong is None else str(wrong),
        }
        self._command = [sys.executable, "-m", "tests.agent_process", json.dumps(spec)]
        self._process: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        """Start it, and wait until it says that it is online."""
        self._process = subprocess.Popen(self._command, cwd=ROOT)
        wait_until(self._is_online, PATIENCE_S, "the agent is online")

    def state(self) -> str | None:
        """What the broker has retained of its state."""
        status = retained(self.port, status_topic(TERMINAL))
        return None if status is None else str(json.loads(status)["state"])

    @property
    def pid(self) -> int:
        """The process id while it runs."""
        assert self._process is not None
        return self._process.pid

    def kill(self) -> None:
        """As a power cut would end it."""
        self._end(signal.SIGKILL)

    def stop(self) -> int:
        """As the system would end it; its exit code."""
        return self._end(signal.SIGTERM)

    def _end(self, number: signal.Signals) -> int:
        if self._process is None:
            return 0
        self._process.send_signal(number)
        code = self._process.wait(PATIENCE_S)
        self._process = None
        return code

    def _is_online(self) -> bool:
        assert self._process is not None
        assert self._process.poll() is None, f"the agent has ended with {self._process.returncode}"
        return self.state() == "online"


def retained(port: int, topic: str) -> bytes | None:
    """The message that the broker keeps for a topic; None where there is none, or no broker.

    What is kept goes out with the subscription, before what is published after it (MQTT 3.1.1, section 4.6).
    """
    marker = f"asked/{uuid4().hex}"
    found: dict[str, bytes] = {}
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: found.setdefault(message.topic, message.payload)
    client.on_subscribe = lambda *_: client.publish(marker, b"", qos=1)
    ended = threading.Event()
    client.on_disconnect = lambda *_: ended.set()
    try:
        client.connect(LOOPBACK, port)
    except OSError:
        return None
    client.subscribe([(topic, 1), (marker, 1)])

    def answered() -> bool:
        client.loop(LOOK_EVERY_S)
        return marker in found or ended.is_set()

    try:
        wait_until(answered, PATIENCE_S, "the broker answers")
    finally:
        client.disconnect()
    return found.get(topic)


class Device:
    """Publishes at QoS 1 from a thread of its own, and again after a broken connection, as devices do."""

    def __init__(self, port: int, client_id: str = "device") -> None:
        self._client = paho.Client(CallbackAPIVersion.VERSION2, client_id, clean_session=False)
        self._client.reconnect_delay_set(1, 1)
        self._client.max_queued_messages_set(0)
        self._client.on_publish = self._on_answer
        self._client.connect_async(LOOPBACK, port)
        self._client.loop_start()
        # What is handed over while the library connects, it sends in an order of its own.
        wait_until(self._client.is_connected, PATIENCE_S, "the device is connected")
        self.sent = 0
        self._answered = 0

    def publish(self, reading: AnyReading) -> None:
        """Hand one reading over; it is sent when that is possible."""
        self.publish_raw(reading_topic(TERMINAL, kind_of(reading)), to_message(reading))

    def publish_raw(self, topic: str, payload: bytes) -> None:
        """Hand any message over."""
        self._client.publish(topic, payload, qos=1)
        self.sent += 1

    def _on_answer(self, *_: object) -> None:
        self._answered += 1

    def unanswered(self) -> int:
        """How many messages the broker has not acknowledged."""
        return self.sent - self._answered

    def close(self) -> None:
        """Disconnect."""
        # In the other order the thread may end by itself in the moment in which it is to be joined.
        self._client.loop_stop()
        self._client.disconnect()


def publish_due(device: Device, readings: Sequence[AnyReading], clock: Clock) -> Sequence[AnyReading]:
    """Publish what is due by now; returns the rest."""
    now_unix_s = clock.now()
    due = [one for one in readings if one.unix_s <= now_unix_s]
    for one in due:
        device.publish(one)
    return readings[len(due) :]


def stored_count(store: Path) -> int:
    """How many readings the store has."""
    return len(stored_readings(store))


def stored_readings(store: Path) -> list[AnyReading]:
    """The readings in the order in which the engine took them."""
    with closing(open_for_reading(store)) as connection:
        return [one.reading for one in readings_after(connection, TERMINAL, 0)]


def as_stored(readings: Iterable[AnyReading]) -> list[AnyReading]:
    """The readings as the agent stores them: notes without a name are given one."""
    return [named(one, to_message(one)) if isinstance(one, Note) else one for one in readings]


def event_rows(store: Path) -> list[tuple[object, ...]]:
    """The alert events as they stand in the store, text for text."""
    with closing(open_for_reading(store)) as connection:
        return connection.execute(f"SELECT {EVENT_COLUMNS} FROM alert_event ORDER BY id").fetchall()


def uninterrupted_rows(store: Path, readings: Iterable[AnyReading], folder: Path) -> list[tuple[object, ...]]:
    """What an engine says that takes these readings without a break, and the time of the stored situation."""
    engine = AlertEngine(job(), sample_plan(), default_rules())
    events: list[AlertEvent] = [event for one in readings for event in engine.update(one)]
    with closing(open_for_reading(store)) as connection:
        events += engine.advance(situations(connection)[0].situation.unix_s)
    return rows_of(events, folder)


def rows_of(events: Sequence[AlertEvent], folder: Path) -> list[tuple[object, ...]]:
    """The events as the store writes them."""
    store = folder / "expected.sqlite3"
    writer = StoreWriter.open(store, TERMINAL, 0.0)
    writer.add_events(events, [], 0.0)
    writer.close()
    return event_rows(store)


def rejected_rows(store: Path) -> list[tuple[str, bytes, str]]:
    """Topic, payload and reason of every refused message."""
    with closing(open_for_reading(store)) as connection:
        found: list[tuple[str, bytes, str]] = connection.execute(
            "SELECT topic, payload, reason FROM rejected ORDER BY id"
        ).fetchall()
    return found


def integrity(store: Path) -> str:
    """SQLite's own check of the file."""
    with closing(sqlite3.connect(store)) as connection:
        return str(connection.execute("PRAGMA integrity_check").fetchone()[0])


def embedded_at(port: int) -> BrokerSettings:
    """The agent's own broker on this port."""
    return broker_at(port, embedded=True)
