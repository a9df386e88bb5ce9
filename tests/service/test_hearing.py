"""What the agent hears but does not take, and a broker that is gone, with real brokers.

Reference: MQTT 3.1.1 (OASIS Standard, 2014), 3.3.1.3: a message that a new subscription gets because it was
retained carries the retain flag; one that is published while the subscription stands does not.
"""

import asyncio
import json
import signal
import socket
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict
from functools import partial
from pathlib import Path

import paho.mqtt.publish
import pytest

from agent.cli import main
from agent.clock import Clock, played_clock
from agent.config import LOOPBACK
from agent.inputs.messages import status_message, status_topic
from agent.inputs.neighbours import near_miss, overhear
from agent.records import Signal
from agent.service.sole import this_agent
from agent.service.status_file import status_path
from agent.store import reader
from agent.store.opening import open_for_reading
from tests.live import TERMINAL, AgentProcess, Device, embedded_at, retained, stored_readings
from tests.processes import LOADED, PATIENCE_S, Mosquitto, free_port, wait_until
from tests.watch.sample_day import full_day

TOLD_WITHIN_S = 10.0 * LOADED
START_UNIX_S = full_day()[0].unix_s


@pytest.fixture
def clock() -> Clock:
    return played_clock(START_UNIX_S, 1.0)


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "day.sqlite3"


@pytest.fixture
def agent(store: Path, mosquitto: Mosquitto, clock: Clock) -> Iterator[AgentProcess]:
    """An agent that starts when the broker has an old reading and a stranger's state."""
    publish(mosquitto, "signal", old_reading(), retain=True)
    publish(mosquitto, "status", b"{}", retain=True, terminal="van-11")
    process = AgentProcess(store, mosquitto.settings, clock)
    process.start()
    yield process
    process.kill()


def old_reading() -> bytes:
    return json.dumps({"time": START_UNIX_S - 60.0, "esno_db": 3.0}).encode()


def publish(
    broker: Mosquitto, kind: str, payload: bytes, retain: bool = False, terminal: str = TERMINAL
) -> None:
    paho.mqtt.publish.single(
        f"peakshade/{terminal}/{kind}", payload, 1, retain, LOOPBACK, broker.port, "sender"
    )


def told(store: Path) -> dict[str, reader.InputState]:
    """What the agent says of its ears, by name."""
    with closing(open_for_reading(store)) as connection:
        return {one.name: one for one in reader.input_states(connection, TERMINAL)}


def answer(store: Path) -> tuple[str, str, str]:
    """Level, verdict and action that pages and `status` show; empty before the first."""
    with closing(open_for_reading(store)) as connection:
        found = [one.situation for one in reader.situations(connection)]
    return (found[0].level, found[0].verdict, found[0].action) if found else ("", "", "")


def test_what_is_heard_and_not_taken_is_said(
    agent: AgentProcess, store: Path, mosquitto: Mosquitto, clock: Clock, capsys: pytest.CaptureFixture[str]
) -> None:
    """History, unreadable messages, a mistyped terminal: counted, named, with what to do, and no reading."""
    history = f"history on peakshade/{TERMINAL}/signal"
    wait_until(lambda: history in told(store), PATIENCE_S, "history is remarked")
    assert "1 old, kept by the broker" in str(told(store)[history].finding)
    assert stored_readings(store) == []

    publish(mosquitto, "weather", b'{"air_degc": 20}')
    wait_until(lambda: "time is missing" in answer(store)[2], PATIENCE_S, "what to do is said")
    assert answer(store)[0] == "unknown"
    device = Device(mosquitto.port)
    for _ in range(2):
        device.publish_raw(f"peakshade/{TERMINAL}/weather", b'{"air_degc": 21}')
    live = Signal(unix_s=clock.now(), esno_db=14.0)
    # A device that keeps its last message at the broker is heard all the same while it publishes.
    publish(mosquitto, "signal", json.dumps({"time": live.unix_s, "esno_db": 14.0}).encode(), retain=True)
    device.close()
    refused = f"messages on peakshade/{TERMINAL}/weather"
    wait_until(lambda: "3 refused" in str(told(store)[refused].finding), PATIENCE_S, "three are counted")
    assert stored_readings(store) == [live]

    for name in ("van1", "van-11", "van-2"):
        publish(mosquitto, "signal", old_reading(), terminal=name)
    wait_until(lambda: "terminal van1" in told(store), PATIENCE_S, "the slip is remarked")
    assert not {"terminal van-11", "terminal van-2"} & set(told(store))
    assert f"where {TERMINAL} is meant" in str(told(store)["terminal van1"].finding)

    main(["status", "--store", str(store)])
    lines = capsys.readouterr().out
    assert f"  {refused}: 3 refused, the last at " in lines
    assert "weather: time is missing; expected RFC 3339" in lines
    assert "add the moment of the measurement" in lines
    assert "  terminal van1: readings come for it" in lines


def names(store: Path, start: str) -> bool:
    """Whether something that begins so is told."""
    return any(name.startswith(start) for name in told(store))


def test_two_agents_for_one_terminal_each_name_the_other(
    agent: AgentProcess, store: Path, mosquitto: Mosquitto, clock: Clock
) -> None:
    """As on two computers: neither file tells of the other. Both go on; 3.1.4 of MQTT 3.1.1 is no loop."""
    elsewhere = store.with_name("elsewhere.sqlite3")
    second = AgentProcess(elsewhere, mosquitto.settings, clock)
    second.start()
    try:
        for path, other in ((store, second), (elsewhere, agent)):
            start = f"agent on {socket.gethostname()}, process {other.pid}, since "
            wait_until(partial(names, path, start), PATIENCE_S, f"{path.name} names the other")

        def both_hear() -> bool:
            publish(mosquitto, "signal", json.dumps({"time": clock.now(), "esno_db": 14.0}).encode())
            return bool(stored_readings(store) and stored_readings(elsewhere))

        wait_until(both_hear, PATIENCE_S, "both hear a reading")
    finally:
        second.kill()


def test_the_last_words_of_a_killed_agent_are_no_second_agent(
    agent: AgentProcess, store: Path, mosquitto: Mosquitto, clock: Clock
) -> None:
    """The broker may keep them for the session of that agent, which the next one takes over."""
    owner = {**asdict(this_agent(TERMINAL)), "process": agent.pid}
    agent.kill()
    topic, words = status_topic(TERMINAL), status_message(clock.now(), "online", {}, agent=owner)
    paho.mqtt.publish.single(topic, words, qos=1, hostname=LOOPBACK, port=mosquitto.port)
    agent.start()
    publish(mosquitto, "signal", json.dumps({"time": clock.now(), "esno_db": 14.0}).encode())
    wait_until(lambda: len(stored_readings(store)) == 1, PATIENCE_S, "what came after them is stored")
    assert not names(store, "agent on ")
    assert "watches this terminal too" not in str(retained(mosquitto.port, topic))


@pytest.fixture
def own(tmp_path: Path) -> Iterator[AgentProcess]:
    """An agent with a broker of its own."""
    process = AgentProcess(
        tmp_path / "own.sqlite3", embedded_at(free_port()), played_clock(START_UNIX_S, 1.0)
    )
    process.start()
    yield process
    process.kill()


def test_the_agents_own_broker_tells_as_much(own: AgentProcess) -> None:
    """What cannot be read, and a mistyped terminal; both as with another broker."""
    device = Device(own.port)
    device.publish_raw(f"peakshade/{TERMINAL}/weather", b'{"air_degc": 20}')
    refused = f"messages on peakshade/{TERMINAL}/weather"
    wait_until(lambda: refused in told(own.store), PATIENCE_S, "what is refused is said")

    def remarked() -> bool:
        for name in ("van-2", "van1"):
            device.publish_raw(f"peakshade/{name}/signal", old_reading())
        return "terminal van1" in told(own.store)

    wait_until(remarked, PATIENCE_S, "the slip is remarked")
    device.close()
    assert told(own.store).keys() == {refused, "terminal van1"}
    assert stored_readings(own.store) == []


def test_a_slip_is_remarked_whenever_it_comes_and_once(mosquitto: Mosquitto) -> None:
    """After a rest from a busy broker, too."""
    found: list[str] = []

    async def test() -> None:
        listening = asyncio.create_task(
            overhear(mosquitto.settings, TERMINAL, found.append, most=30, rest_s=0.1)
        )
        device = Device(mosquitto.port)
        sent = 0
        while found.count("van1") < 1:
            assert sent < 10_000
            device.publish_raw(f"peakshade/{'van1' if sent > 60 else TERMINAL}/signal", old_reading())
            sent += 1
            await asyncio.sleep(0.02)
        for _ in range(10):
            device.publish_raw("peakshade/van1/signal", old_reading())
        device.publish_raw("peakshade/vna-1/signal", old_reading())
        while "vna-1" not in found:
            device.publish_raw("peakshade/vna-1/signal", old_reading())
            await asyncio.sleep(0.02)
        device.close()
        listening.cancel()

    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))
    assert found == ["van1", "vna-1"]


@pytest.mark.parametrize("how", [signal.SIGSTOP, signal.SIGTERM], ids=["hangs", "ends"])
def test_a_broker_that_is_gone_is_said_within_ten_seconds_and_that_it_is_back(
    agent: AgentProcess,
    store: Path,
    mosquitto: Mosquitto,
    clock: Clock,
    how: signal.Signals,
    capsys: pytest.CaptureFixture[str],
) -> None:
    name = f"broker {LOOPBACK}:{mosquitto.port}"
    device = Device(mosquitto.port)
    device.publish(Signal(unix_s=clock.now(), esno_db=14.0))
    wait_until(lambda: len(stored_readings(store)) == 1, PATIENCE_S, "the agent hears")
    device.close()
    gone_s = time.monotonic()
    mosquitto.pause() if how == signal.SIGSTOP else mosquitto.stop()
    wait_until(lambda: name in told(store), PATIENCE_S, "the broker is missed")
    wait_until(lambda: answer(store)[1].startswith(f"Broker {LOOPBACK}"), PATIENCE_S, "the verdict says so")
    wait_until(lambda: name in status_path(store).read_text(), PATIENCE_S, "the status file says so")
    assert time.monotonic() - gone_s < TOLD_WITHIN_S
    level, verdict, action = answer(store)
    assert level == "unknown"
    assert " not reached since " in verdict
    assert "is it running" in action.lower()
    assert main(["status", "--store", str(store)]) == 1
    assert f"  {name}: not reached since " in capsys.readouterr().out

    back_s = time.monotonic()
    mosquitto.go_on() if how == signal.SIGSTOP else mosquitto.start()
    wait_until(lambda: name not in told(store), PATIENCE_S, "the broker is back")
    wait_until(lambda: not answer(store)[1].startswith("Broker"), PATIENCE_S, "the verdict says so")
    wait_until(lambda: name not in status_path(store).read_text(), PATIENCE_S, "the status file says so")
    assert time.monotonic() - back_s < TOLD_WITHIN_S


@pytest.mark.parametrize(
    ("name", "slip"),
    [
        ("van1", True),
        ("Van-1", True),
        ("van_1", True),
        ("van-01", True),
        ("vna-1", True),
        ("van-1", False),
        ("van-2", False),
        ("van-11", False),
        ("boat-1", False),
    ],
)
def test_which_names_may_be_slips(name: str, slip: bool) -> None:
    assert near_miss(name, "van-1") is slip
