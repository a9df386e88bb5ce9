"""The agent's connection against a real Mosquitto.

Reference: MQTT 3.1.1 (OASIS Standard, 2014): 4.1 session state, 4.4 redelivery after reconnecting,
3.1.2.5 last will, 3.3.1.3 retained messages.
"""

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import replace

import aiomqtt
import pytest

from agent.config import LOOPBACK, BrokerSettings
from agent.inputs import mqtt
from agent.inputs.mqtt import (
    Delivery,
    Link,
    Outbox,
    publishing_client,
    retry_delay_s,
    snatched,
    stay_connected,
)
from tests.live import retained
from tests.processes import PATIENCE_S, Mosquitto, broker_at, free_port

pytestmark = pytest.mark.mosquitto
SIGNAL = "peakshade/van-1/signal"


def link(broker: BrokerSettings) -> Link:
    """A connection such as the agent's."""
    will = aiomqtt.Will("peakshade/van-1/status", b'{"state":"lost"}', qos=1, retain=True)
    return Link(broker=broker, client_id="peakshade-van-1", topic="peakshade/van-1/+", will=will)


class Listener:
    """Takes what is delivered; acknowledges it if told to."""

    def __init__(self, acknowledges: bool = True) -> None:
        self.acknowledges = acknowledges
        self.taken: list[Delivery] = []
        self.changes: list[bool] = []
        self.outbox = Outbox()

    async def deliver(self, deliveries: Sequence[Delivery]) -> None:
        for one in deliveries:
            # The agent's own last will comes back to it.
            if one.topic == SIGNAL:
                self.taken.append(one)
            if self.acknowledges:
                one.acknowledge()

    def payloads(self) -> list[bytes]:
        return [one.payload for one in self.taken]

    @asynccontextmanager
    async def connected(self, broker: BrokerSettings) -> AsyncIterator["Listener"]:
        """While the connection stands."""
        running = asyncio.create_task(
            stay_connected(link(broker), self.deliver, self.outbox, self.changes.append)
        )
        await until(lambda: self.changes[-1:] == [True])
        try:
            yield self
        finally:
            running.cancel()
            await asyncio.gather(running, return_exceptions=True)


async def until(true: Callable[[], bool]) -> None:
    """Return as soon as it is true."""
    async with asyncio.timeout(PATIENCE_S):
        while not true():  # noqa: ASYNC110 - what is waited for has no event
            await asyncio.sleep(0.01)


async def publish(broker: BrokerSettings, *payloads: bytes) -> None:
    """As a device does."""
    async with publishing_client(broker, PATIENCE_S) as client:
        for payload in payloads:
            await client.publish(SIGNAL, payload, qos=1)


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run the coroutine of a test."""
    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))  # type: ignore[arg-type]


def test_an_end_in_the_moment_of_the_broker_s_answer_is_an_end(mosquitto: Mosquitto) -> None:
    """Regression: an agent that was ended while it connected stayed for good (Python 3.11's wait_for)."""

    async def test() -> None:
        client = publishing_client(mosquitto.settings, PATIENCE_S)
        entering = asyncio.create_task(client.__aenter__())
        client._connected.add_done_callback(lambda _: entering.cancel())
        await asyncio.wait([entering])
        assert client._connected.result() is None
        assert entering.cancelled()

    run(test)


def test_an_end_while_connecting_leaves_no_error_behind() -> None:
    """Regression: a traceback in the log, where the agent was ended before the broker had answered."""

    async def test() -> None:
        wrong: list[dict[str, object]] = []
        asyncio.get_running_loop().set_exception_handler(lambda _, context: wrong.append(context))
        asked, given_up, gone = asyncio.Event(), asyncio.Event(), asyncio.Event()

        async def silent(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            await reader.read(1)
            asked.set()
            await given_up.wait()
            writer.close()
            await writer.wait_closed()
            gone.set()

        async with await asyncio.start_server(silent, LOOPBACK) as server:
            broker = broker_at(server.sockets[0].getsockname()[1])
            client = publishing_client(broker, PATIENCE_S)
            entering = asyncio.create_task(client.__aenter__())
            await asked.wait()
            entering.cancel()
            await asyncio.wait([entering])
            given_up.set()
            await gone.wait()
            await until(lambda: not client._client.is_connected() and client._client.socket() is None)
        assert entering.cancelled()
        assert wrong == []

    run(test)


def test_what_is_not_acknowledged_is_delivered_again(mosquitto: Mosquitto) -> None:
    async def test() -> None:
        async with Listener(acknowledges=False).connected(mosquitto.settings) as listener:
            await publish(mosquitto.settings, b"1", b"2", b"3")
            await until(lambda: len(listener.taken) == 3)
            listener.taken[1].acknowledge()
            await asyncio.sleep(0)
        async with Listener().connected(mosquitto.settings) as again:
            await until(lambda: len(again.taken) == 2)
            await publish(mosquitto.settings, b"4")
            await until(lambda: len(again.taken) == 3)
            assert again.payloads() == [b"1", b"3", b"4"]

    run(test)


def test_what_came_while_away_waits(mosquitto: Mosquitto) -> None:
    async def test() -> None:
        async with Listener().connected(mosquitto.settings):
            pass
        await publish(mosquitto.settings, *(b"%d" % number for number in range(50)))
        async with Listener().connected(mosquitto.settings) as listener:
            await until(lambda: len(listener.taken) == 50)
            assert listener.payloads() == [b"%d" % number for number in range(50)]

    run(test)


def test_an_acknowledgement_after_the_connection_is_gone_does_nothing(mosquitto: Mosquitto) -> None:
    async def test() -> None:
        async with Listener(acknowledges=False).connected(mosquitto.settings) as listener:
            await publish(mosquitto.settings, b"1")
            await until(lambda: len(listener.taken) == 1)
        listener.taken[0].acknowledge()
        async with Listener().connected(mosquitto.settings) as again:
            await until(lambda: again.payloads() == [b"1"])

    run(test)


def test_too_much_waits_in_the_broker_and_not_in_memory(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The agent is stuck while messages of quality of service 0 pour in: it breaks the connection."""
    monkeypatch.setattr(mqtt, "MAX_WAITING", 100)
    monkeypatch.setattr(mqtt, "FIRST_DELAY_S", 0.05)

    async def test() -> None:
        stuck = asyncio.Event()

        class Stuck(Listener):
            async def deliver(self, deliveries: Sequence[Delivery]) -> None:
                await super().deliver(deliveries)
                await stuck.wait()

        async with Stuck().connected(mosquitto.settings) as listener:
            await publish(mosquitto.settings, b"first")
            await until(lambda: len(listener.taken) == 1)
            async with publishing_client(mosquitto.settings, PATIENCE_S) as client:
                for number in range(500):
                    await client.publish(SIGNAL, b"%d" % number, qos=0)
            await until(lambda: "100 messages wait for the agent" in caplog.text)
            stuck.set()
            await until(lambda: False in listener.changes)
            await until(lambda: listener.changes[-1])
            await publish(mosquitto.settings, b"last")
            await until(lambda: listener.payloads()[-1:] == [b"last"])

    run(test)


def test_connects_again_after_the_broker_was_away(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "FIRST_DELAY_S", 0.1)

    async def test() -> None:
        async with Listener().connected(mosquitto.settings) as listener:
            mosquitto.stop()
            await until(lambda: listener.changes[-1] is False)
            listener.outbox.put("peakshade/van-1/alert/shade", b"waits")
            await asyncio.to_thread(mosquitto.start)
            await until(lambda: listener.changes[-1] is True)
            await asyncio.wait_for(listener.outbox.emptied(), PATIENCE_S)
            await publish(mosquitto.settings, b"1")
            await until(lambda: listener.payloads() == [b"1"])
        assert await asyncio.to_thread(retained, mosquitto.port, "peakshade/van-1/alert/shade") == b"waits"

    run(test)


def test_another_client_of_the_same_name_is_said_and_does_not_stop_the_watch(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """3.1.4: each connection of a name ends the other's; a foreign program that connects again at once."""
    monkeypatch.setattr(mqtt, "FIRST_DELAY_S", 0.05)
    rivals: list[str] = []

    async def foreign() -> None:
        while not rivals:
            with suppress(aiomqtt.MqttError):
                async with aiomqtt.Client(
                    mosquitto.settings.host, mosquitto.port, identifier="peakshade-van-1"
                ) as one:
                    async for _ in one.messages:
                        pass

    async def test() -> None:
        listener = Listener()
        ours = replace(link(mosquitto.settings), on_rival=rivals.append)
        running = asyncio.create_task(
            stay_connected(ours, listener.deliver, listener.outbox, listener.changes.append)
        )
        await until(lambda: listener.changes[-1:] == [True])
        other = asyncio.create_task(foreign())
        await until(lambda: rivals == ["peakshade-van-1"])
        await until(lambda: listener.changes[-1])
        await publish(mosquitto.settings, b"1")
        await until(lambda: b"1" in listener.payloads())
        for task in (running, other):
            task.cancel()
        await asyncio.gather(running, other, return_exceptions=True)

    run(test)
    assert caplog.text.count("another client calls itself 'peakshade-van-1' too") == 1


def test_a_broker_that_restarts_again_and_again_is_no_rival(
    mosquitto: Mosquitto, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mqtt, "FIRST_DELAY_S", 0.05)
    monkeypatch.setattr(mqtt, "SNATCHED", ((3, 600.0),))
    rivals: list[str] = []

    async def test() -> None:
        listener = Listener()
        ours = replace(link(mosquitto.settings), on_rival=rivals.append)
        running = asyncio.create_task(
            stay_connected(ours, listener.deliver, listener.outbox, listener.changes.append)
        )
        for number in range(1, 7):
            await until(lambda number=number: listener.changes.count(True) >= number)
            await asyncio.to_thread(mosquitto.kill)
            await asyncio.to_thread(mosquitto.start)
        await until(lambda: listener.changes[-1])
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)

    run(test)
    assert rivals == []


@pytest.mark.parametrize(
    ("ends_s", "taken"),
    [
        ([0.0, 1.5, 3.0, 4.5, 6.0], True),
        ([0.0, 1.5, 3.0, 4.5], False),
        ([30.0 * n for n in range(9)], False),
        ([30.0 * n for n in range(10)], True),
        ([120.0 * n for n in range(10)], False),  # a line that breaks now and then
    ],
)
def test_a_rival_that_takes_its_time_is_told_from_a_bad_line(ends_s: list[float], taken: bool) -> None:
    assert snatched(ends_s) == taken


def test_a_broker_that_is_not_there_is_tried_again(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(mqtt, "FIRST_DELAY_S", 0.01)
    port = free_port()

    async def test() -> None:
        changes: list[bool] = []
        running = asyncio.create_task(
            stay_connected(link(broker_at(port)), Listener().deliver, Outbox(), changes.append)
        )
        await until(lambda: len(changes) >= 3)
        running.cancel()
        await asyncio.gather(running, return_exceptions=True)
        assert changes[:3] == [False, False, False]

    run(test)
    assert f"127.0.0.1:{port}" in caplog.text
    assert "trying again in" in caplog.text


def test_only_the_latest_news_of_a_topic_are_published() -> None:
    async def test() -> None:
        outbox = Outbox()
        outbox.put("a", b"1")
        outbox.put("b", b"2")
        topic, payload = await outbox.first()
        outbox.put("a", b"3")
        outbox.done(topic, payload)
        assert await outbox.first() == ("a", b"3")
        outbox.done("a", b"3")
        outbox.done(*await outbox.first())
        await asyncio.wait_for(outbox.emptied(), 1.0)

    run(test)


def test_delays_grow_to_a_limit_and_differ() -> None:
    delays = [[retry_delay_s(failures) for _ in range(20)] for failures in (0, 1, 2, 3, 50, 10_000)]
    for found, longest_s in zip(delays, (1.0, 2.0, 4.0, 8.0, 30.0, 30.0), strict=True):
        assert all(longest_s / 2.0 <= one <= longest_s for one in found)
        assert len(set(found)) > 1
