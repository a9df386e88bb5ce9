"""The agent as a process with a real broker, killed and cut off in the middle of a day.

Reference: MQTT 3.1.1 (OASIS Standard, 2014), section 4.3.2: at quality of service 1 a message is delivered at
least once; 4.1: the session of a client that is away keeps its messages. What the project adds: stored once.
"""

import subprocess
import sys
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import pytest

from agent.clock import Clock, played_clock
from agent.inputs.messages import reading_topic
from agent.records import AnyReading, ClockChange
from agent.replay.replaying import replay_events, session_plan
from agent.replay.sessions import read_session, session_folder
from agent.store.opening import open_for_reading
from agent.store.reader import readings_after
from agent.watch.rule_set import default_rules
from tests.inputs.malformed import MALFORMED
from tests.live import (
    ROOT,
    TERMINAL,
    AgentProcess,
    Device,
    as_stored,
    embedded_at,
    event_rows,
    integrity,
    publish_due,
    rejected_rows,
    rows_of,
    stored_count,
    stored_readings,
    uninterrupted_rows,
)
from tests.processes import PATIENCE_S, Mosquitto, free_port, wait_until
from tests.watch.sample_day import HOUR_S, START_UNIX_S, full_day

SPEED = 1000.0
# With a knock, a re-peak, a shade and a sun pass.
DAY = [one for one in full_day() if one.unix_s < START_UNIX_S + 3.0 * HOUR_S]
# The clock stands still where the day is over.
END_UNIX_S = DAY[-1].unix_s


@pytest.fixture
def day_clock() -> Clock:
    """Three hours of the sample day in some eleven seconds."""
    return played_clock(DAY[0].unix_s, SPEED, END_UNIX_S)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "day.sqlite3"


def play(device: Device, clock: Clock, until_sent: int, rest: list[AnyReading]) -> None:
    """Publish what is due until so many messages are sent; what is left stays in `rest`."""

    def sent() -> bool:
        rest[:] = publish_due(device, rest, clock)
        return device.sent >= until_sent

    wait_until(sent, PATIENCE_S, f"{until_sent} messages sent")


@pytest.fixture
def agent(request: pytest.FixtureRequest, store: Path, day_clock: Clock) -> Iterator[AgentProcess]:
    """An agent with Mosquitto, or with the broker inside it."""
    if request.param == "mosquitto":
        broker = request.getfixturevalue("mosquitto").settings
    else:
        broker = embedded_at(free_port())
    process = AgentProcess(store, broker, day_clock)
    process.start()
    yield process
    process.kill()


both_brokers = pytest.mark.parametrize(
    "agent", [pytest.param("mosquitto", marks=pytest.mark.mosquitto), "embedded"], indirect=True
)


@both_brokers
def test_killed_in_mid_stream(agent: AgentProcess, store: Path, day_clock: Clock, tmp_path: Path) -> None:
    """Nothing that was published is missing or doubled, and the alerts go on as if nothing had been."""
    device = Device(agent.port)
    rest = list(DAY)
    for share in (0.3, 0.6):
        play(device, day_clock, round(len(DAY) * share), rest)
        most = round(len(DAY) * share * 0.8)
        wait_until(partial(stores_more_than, store, most), PATIENCE_S, "most of it is stored")
        agent.kill()
        play(device, day_clock, round(len(DAY) * (share + 0.05)), rest)
        agent.start()
    play(device, day_clock, len(DAY), rest)
    wait_until(lambda: device.unanswered() == 0, PATIENCE_S, "every message is acknowledged")
    wait_until(lambda: len(heard(store)) >= len(DAY), PATIENCE_S, "every reading is stored")
    assert agent.stop() == 0
    device.close()
    stored = stored_readings(store)
    assert sorted(map(without_time, heard(store))) == sorted(map(without_time, DAY))
    assert event_rows(store) == uninterrupted_rows(store, stored, tmp_path)
    # Which rules speak depends on how late the messages that waited arrive; that some speak does not.
    assert event_rows(store)
    assert integrity(store) == "ok"


def heard(store: Path) -> list[AnyReading]:
    """What others sent. The agent itself says how long it was away, where a slow computer starts it late."""
    return [one for one in stored_readings(store) if not isinstance(one, ClockChange)]


def stores_more_than(store: Path, count: int) -> bool:
    return stored_count(store) > count


def without_time(reading: AnyReading) -> str:
    """What the reading measured; one that waited may count as of a later time, a note is given a name."""
    values = {name: getattr(reading, name) for name in reading.__dataclass_fields__}
    late = {"unix_s", "sent_unix_s", "id"}
    return repr([(type(reading).__name__, *((name, values[name]) for name in values if name not in late))])


@pytest.mark.mosquitto
def test_broker_restarted_in_mid_stream(
    store: Path, mosquitto: Mosquitto, day_clock: Clock, tmp_path: Path
) -> None:
    agent = AgentProcess(store, mosquitto.settings, day_clock)
    agent.start()
    device = Device(mosquitto.port)
    rest = list(DAY)
    play(device, day_clock, len(DAY) // 2, rest)
    mosquitto.stop()
    play(device, day_clock, len(DAY) // 2 + 200, rest)
    mosquitto.start()
    play(device, day_clock, len(DAY), rest)
    wait_until(lambda: len(heard(store)) >= len(DAY), PATIENCE_S, "every reading is stored")
    assert agent.stop() == 0
    device.close()
    stored = stored_readings(store)
    assert sorted(map(without_time, heard(store))) == sorted(map(without_time, DAY))
    assert event_rows(store) == uninterrupted_rows(store, stored, tmp_path)


@pytest.mark.mosquitto
def test_the_status_says_whether_the_agent_is_there(
    store: Path, mosquitto: Mosquitto, day_clock: Clock
) -> None:
    agent = AgentProcess(store, mosquitto.settings, day_clock)
    agent.start()
    agent.kill()
    wait_until(lambda: agent.state() == "lost", PATIENCE_S, "the broker publishes the last will")
    agent.start()
    assert agent.state() == "online"
    assert agent.stop() == 0
    assert agent.state() == "offline"


@both_brokers
def test_a_thousand_malformed_messages(agent: AgentProcess, store: Path) -> None:
    """Each ends in `rejected` with its reason, and the readings between them are stored."""
    device = Device(agent.port)
    published = []
    for number in range(1000):
        case = MALFORMED[number % len(MALFORMED)]
        payload = case.payload if number < len(MALFORMED) else case.payload + b"%d" % number
        if number % 10 == 0:
            device.publish(DAY[number // 10])
        device.publish_raw(reading_topic(TERMINAL, case.kind), payload)
        published.append((reading_topic(TERMINAL, case.kind), payload))
    wait_until(lambda: len(rejected_rows(store)) >= 1000, PATIENCE_S, "all are refused")
    wait_until(lambda: len(heard(store)) >= 100, PATIENCE_S, "the readings between them are stored")
    device.publish(DAY[100])
    wait_until(lambda: len(heard(store)) == 101, PATIENCE_S, "the agent goes on")
    assert agent.stop() == 0
    device.close()
    rejected = rejected_rows(store)
    assert sorted((topic, payload) for topic, payload, _ in rejected) == sorted(
        (topic, payload[:4096]) for topic, payload in published
    )
    assert all(len(reason) > 20 for _, _, reason in rejected)


def test_a_bundled_session_played_live_equals_its_replay(tmp_path: Path) -> None:
    """The same messages through broker, disk and live engine give the same events, byte for byte."""
    name = "salt-pan-summer"
    command = [sys.executable, "-m", "agent", "demo", "--session", name, "--speed", "2000", "--no-dashboard"]
    subprocess.run([*command, "--exit-at-end", "--directory", str(tmp_path)], check=True, cwd=ROOT)
    session = read_session(session_folder(name))
    store = tmp_path / f"{name}.sqlite3"
    connection = open_for_reading(store)
    stored = [one.reading for one in readings_after(connection, session.terminal, 0)]
    connection.close()
    assert stored == as_stored(session.readings)
    replayed, _ = replay_events(session, session_plan(session), default_rules())
    assert event_rows(store) == rows_of(replayed, tmp_path)
    assert [(event.rule, event.state) for event in replayed] != []
