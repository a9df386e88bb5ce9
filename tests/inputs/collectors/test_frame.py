"""What all inputs have in common: states, retries, threads, and the way to the broker."""

import asyncio
import json
import threading
from collections.abc import AsyncGenerator, Callable, Coroutine

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from agent.config import LOOPBACK, BrokerSettings
from agent.inputs.collectors.frame import (
    Collected,
    Collector,
    CollectorError,
    InputState,
    Outlet,
    OwnThread,
    Sample,
    keep_collecting,
    polled,
)
from agent.inputs.collectors.postbox import MAX_WAITING, Postbox
from tests.processes import PATIENCE_S, Mosquitto, broker_at, free_port, wait_until

NOW_UNIX_S = 1_784_367_000.0
GOOD = Sample("signal", {"esno_db": 13.0})
BAD = Sample("signal", {"esno_db": 900.0})


def collector(stream: Callable[[], AsyncGenerator[Collected, None]]) -> Collector:
    return Collector(name="test", place="here", advice="mend it", stream=stream, first_within_s=1.0)


async def until(true: Callable[[], bool]) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not true():  # noqa: ASYNC110 - nothing here tells when it changes
            await asyncio.sleep(0.01)


def run(
    stream: Callable[[], AsyncGenerator[Collected, None]], done: Callable[[InputState, list[bytes]], bool]
) -> tuple[InputState, list[bytes]]:
    """Until `done`; the state and what was published."""
    published: list[bytes] = []
    state = InputState("test", NOW_UNIX_S)
    outlet = Outlet("van-1", lambda _, payload: published.append(payload), lambda: NOW_UNIX_S)

    async def work() -> None:
        task = asyncio.create_task(keep_collecting(collector(stream), state, outlet))
        try:
            await until(lambda: task.done() or done(state, published))
            if task.done():
                task.result()
        finally:
            task.cancel()

    asyncio.run(work())
    return state, published


def test_a_failure_is_logged_once_and_counted(caplog: pytest.LogCaptureFixture) -> None:
    tries = 0

    async def stream() -> AsyncGenerator[Collected, None]:
        nonlocal tries
        tries += 1
        if tries < 3:
            raise CollectorError(f"broken {tries}")
        yield Collected([GOOD])
        await asyncio.Event().wait()

    caplog.set_level("INFO")
    state, published = run(stream, lambda state, _: state.state == "ok")
    assert (state.failures, state.readings, state.error) == (2, 1, None)
    assert [record.getMessage() for record in caplog.records] == [
        "input test: here: broken 1; mend it",
        "input test: works",
    ]
    assert json.loads(published[0]) == {"time": NOW_UNIX_S, "esno_db": 13.0}


def test_a_bad_reading_beside_a_good_one() -> None:
    async def stream() -> AsyncGenerator[Collected, None]:
        yield Collected([BAD, GOOD])
        await asyncio.Event().wait()

    state, published = run(stream, lambda state, _: state.state == "failing")
    assert len(published) == 1
    assert "esno_db is 900" in (state.error or "") and "mend it" in (state.error or "")


def test_a_bug_is_no_failure_of_the_counterpart() -> None:
    async def stream() -> AsyncGenerator[Collected, None]:
        raise KeyError("bug")
        yield Collected([])

    with pytest.raises(KeyError):
        run(stream, lambda *_: False)


def test_the_error_does_not_grow_with_what_came() -> None:
    async def stream() -> AsyncGenerator[Collected, None]:
        raise CollectorError("x" * 100_000)
        yield Collected([])

    state, _ = run(stream, lambda state, _: state.state == "failing")
    assert len(state.error or "") < 1000


def test_a_slow_poll_does_not_pile_up() -> None:
    """One that takes longer than its interval is asked again when it is done, and not for what it missed."""
    under_way, most, polls = 0, 0, 0

    async def collect() -> Collected:
        nonlocal under_way, most, polls
        under_way += 1
        most, polls = max(most, under_way), polls + 1
        await asyncio.sleep(0.05)
        under_way -= 1
        return Collected([GOOD])

    run(polled(collect, 0.01, 1.0), lambda *_: polls >= 5)
    assert most == 1


def test_a_hanging_call_holds_up_neither_the_others_nor_the_end() -> None:
    hanging = threading.Event()

    async def work() -> None:
        one, other = OwnThread(), OwnThread()
        with pytest.raises(TimeoutError):
            async with asyncio.timeout(0.05):
                await one.run(hanging.wait)
        with pytest.raises(CollectorError, match="still hangs"):
            await one.run(lambda: True)
        assert await other.run(lambda: 5) == 5
        hanging.set()
        await until(lambda: not one.hangs)
        assert await one.run(lambda: 6) == 6

    asyncio.run(work())


def test_an_error_in_the_thread_comes_back() -> None:
    def fail() -> None:
        raise OSError("no bus")

    async def work() -> None:
        await OwnThread().run(fail)

    with pytest.raises(OSError, match="no bus"):
        asyncio.run(work())


def subscribed(broker: BrokerSettings, heard: list[bytes]) -> paho.Client:
    client = paho.Client(CallbackAPIVersion.VERSION2, "subscriber", clean_session=False)
    client.on_message = lambda _client, _data, message: heard.append(message.payload)
    client.on_connect = lambda client, *_: client.subscribe("box/#", qos=1)
    client.connect_async(LOOPBACK, broker.port)
    client.reconnect_delay_set(1, 1)
    client.loop_start()
    return client


async def delivering(box: Postbox, work: Callable[[], Coroutine[None, None, None]]) -> None:
    task = asyncio.create_task(box.deliver())
    try:
        await work()
    finally:
        task.cancel()


@pytest.mark.mosquitto
def test_readings_wait_for_the_broker_in_their_order(mosquitto: Mosquitto) -> None:
    heard: list[bytes] = []
    client = subscribed(mosquitto.settings, heard)
    wait_until(client.is_connected, PATIENCE_S, "subscriber")
    box = Postbox(mosquitto.settings)

    async def work() -> None:
        box.put("box/a", b"1")
        await until(lambda: b"1" in heard)
        await asyncio.to_thread(mosquitto.stop)
        for number in range(2, 50):
            box.put("box/a", b"%d" % number)
        await asyncio.to_thread(mosquitto.start)
        await until(lambda: b"49" in heard)

    asyncio.run(delivering(box, work))
    client.disconnect()
    client.loop_stop()
    first_times = list(dict.fromkeys(heard))
    assert first_times[-1] == b"49" and first_times == sorted(first_times, key=int)
    assert box.dropped == 0


def test_without_a_broker_the_oldest_go_and_are_counted() -> None:
    box = Postbox(broker_at(free_port()))

    async def work() -> None:
        for number in range(MAX_WAITING + 7):
            box.put("box/a", b"%d" % number)

    asyncio.run(delivering(box, work))
    assert box.dropped == 7
