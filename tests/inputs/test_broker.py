"""The broker inside the agent: a publisher's word that a message is safe waits for the store.

Reference: MQTT 3.1.1 (OASIS Standard, 2014); sections stand beside the tests. The clients are paho's.
"""

import asyncio
import re
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace

import aiomqtt
import pytest
from pydantic import SecretStr

from agent.config import LOOPBACK, BrokerSettings
from agent.errors import UsageError
from agent.inputs.broker import connection
from agent.inputs.broker.serving import embedded_broker
from agent.inputs.broker.wire import MAX_PACKET_BYTES
from agent.inputs.messages import is_reading_topic
from agent.inputs.mqtt import Delivery, Outbox, publishing_client
from tests.inputs.test_mqtt import until
from tests.live import embedded_at, retained
from tests.processes import PATIENCE_S, free_port

TOPIC = "peakshade/van-1/signal"


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run the coroutine of a test."""
    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))  # type: ignore[arg-type]


@dataclass
class Agent:
    """What the broker hands to the agent, which stores nothing by itself."""

    taken: list[Delivery] = field(default_factory=list)
    outbox: Outbox = field(default_factory=Outbox)
    stores_at_once: bool = False

    async def deliver(self, deliveries: Sequence[Delivery]) -> None:
        self.taken += deliveries
        for one in deliveries if self.stores_at_once else ():
            one.acknowledge()

    def payloads(self) -> list[bytes]:
        return [one.payload for one in self.taken]


@asynccontextmanager
async def broker(settings: BrokerSettings, agent: Agent | None = None) -> AsyncIterator[Agent]:
    """A broker with the agent at it."""
    taking = agent or Agent()
    async with embedded_broker(settings, lambda topic: is_reading_topic("van-1", topic)) as own:
        serving = asyncio.create_task(own.serve_agent(taking.deliver, taking.outbox, lambda _: None))
        yield taking
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)


def client(settings: BrokerSettings, name: str, clean: bool = False) -> aiomqtt.Client:
    """A client whose session the broker keeps."""
    return aiomqtt.Client(settings.host, settings.port, identifier=name, clean_session=clean)


async def next_message(one: aiomqtt.Client) -> aiomqtt.Message:
    """The next message that is delivered."""
    return await asyncio.wait_for(anext(one.messages), PATIENCE_S)


@pytest.mark.parametrize("qos", [1, 2])
def test_a_publisher_is_answered_when_the_message_is_stored(qos: int) -> None:
    """4.3.2, 4.3.3: the receiver takes ownership and then answers."""

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as agent, publishing_client(settings, PATIENCE_S) as device:
            sent = asyncio.create_task(device.publish(TOPIC, b"9.1", qos=qos))
            await until(lambda: agent.payloads() == [b"9.1"])
            done, _ = await asyncio.wait([sent], timeout=0.3)
            assert not done, "answered before the message was stored"
            agent.taken[0].acknowledge()
            await asyncio.wait_for(sent, PATIENCE_S)

    run(test)


def test_answers_come_in_the_order_of_the_messages() -> None:
    """4.6: PUBACK packets go out in the order of the PUBLISH packets."""

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as agent, publishing_client(settings, PATIENCE_S) as device:
            order: list[str] = []

            async def publish(topic: str) -> None:
                await device.publish(topic, b"x", qos=1)
                order.append(topic)

            first = asyncio.create_task(publish(TOPIC))
            await until(lambda: len(agent.taken) == 1)
            second = asyncio.create_task(publish("home/lamp"))
            async with client(settings, "other", clean=True) as other:
                await other.publish("home/lamp", b"x", qos=1)  # another's is answered meanwhile
            assert order == []
            agent.taken[0].acknowledge()
            await asyncio.wait_for(asyncio.gather(first, second), PATIENCE_S)
            assert order == [TOPIC, "home/lamp"]

    run(test)


@pytest.mark.parametrize("topic", ["peakshade/van-1/status", "peakshade/van-1/alert/shade", "home/lamp"])
def test_other_messages_are_answered_at_once(topic: str) -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as agent, publishing_client(settings, PATIENCE_S) as device:
            await device.publish(topic, b"x", qos=1, retain=True)
            assert await asyncio.to_thread(retained, settings.port, topic) == b"x"
            assert agent.taken == []

    run(test)


def test_the_agent_s_news_are_retained_for_those_who_ask_and_sent_to_nobody_else() -> None:
    """3.3.1.3 and 4.7; regression: clients with a kept session were sent retained messages unasked."""

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as agent:
            agent.outbox.put("peakshade/van-1/status", b"online")
            await agent.outbox.emptied()
            async with client(settings, "device"):
                pass
            async with client(settings, "device") as device:
                await device.subscribe("home/lamp", qos=1)
                await device.publish("home/lamp", b"on", qos=1)
                assert (await next_message(device)).topic.value == "home/lamp"
                await device.subscribe("peakshade/+/status", qos=1)
                message = await next_message(device)
                assert (bytes(message.payload), message.retain) == (b"online", True)
                agent.outbox.put("peakshade/van-1/status", b"offline")
                message = await next_message(device)
                assert (bytes(message.payload), message.retain) == (b"offline", False)

    run(test)


def test_what_came_while_a_client_was_away_waits_for_it() -> None:
    """3.1.2.4 and 4.1: of quality of service 1 and 2."""

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings):
            async with client(settings, "lamp") as lamp:
                await lamp.subscribe("home/#", qos=2)
            async with publishing_client(settings, PATIENCE_S) as device:
                for number in range(300):
                    await device.publish("home/x", b"%d" % number, qos=1 + number % 2)
            async with client(settings, "lamp") as lamp:
                found = [int(bytes((await next_message(lamp)).payload)) for _ in range(300)]
            # 4.6: each quality of service has its own order.
            assert [one for one in found if one % 2] == list(range(1, 300, 2))
            assert [one for one in found if not one % 2] == list(range(0, 300, 2))
            async with client(settings, "lamp", clean=True):
                pass
            async with client(settings, "lamp") as lamp, publishing_client(settings, PATIENCE_S) as device:
                await device.publish("home/x", b"unheard", qos=1)
                await lamp.subscribe("end", qos=1)
                await device.publish("end", b"", qos=1)
                assert (await next_message(lamp)).topic.value == "end"

    run(test)


def test_a_reading_of_a_device_that_goes_away_is_stored_all_the_same() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as agent:
            async with publishing_client(settings, PATIENCE_S) as device:
                sent = asyncio.create_task(device.publish(TOPIC, b"1", qos=1))
                await until(lambda: len(agent.taken) == 1)
                sent.cancel()
            agent.taken[0].acknowledge()
            async with publishing_client(settings, PATIENCE_S) as device:
                sent = asyncio.create_task(device.publish(TOPIC, b"2", qos=1))
                await until(lambda: len(agent.taken) == 2)
                agent.taken[1].acknowledge()
                await asyncio.wait_for(sent, PATIENCE_S)

    run(test)


def test_a_last_will_is_published_unless_the_client_takes_its_leave() -> None:
    """3.1.2.5; a second connection of the same name ends the first, 3.1.4."""

    async def test() -> None:
        settings = embedded_at(free_port())
        will = aiomqtt.Will("home/lamp", b"gone", qos=1, retain=True)
        async with broker(settings):
            async with aiomqtt.Client(settings.host, settings.port, identifier="lamp", will=will):
                pass
            assert await asyncio.to_thread(retained, settings.port, "home/lamp") is None
            lamp = aiomqtt.Client(settings.host, settings.port, identifier="lamp", will=will)
            await lamp.__aenter__()
            async with client(settings, "lamp"):
                with pytest.raises(aiomqtt.MqttError):
                    await next_message(lamp)
                while await asyncio.to_thread(retained, settings.port, "home/lamp") != b"gone":
                    pass
            await lamp.__aexit__(None, None, None)

    run(test)


def test_clients_that_come_together_are_all_heard() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        heard: list[bytes] = []

        async def one_client(number: int) -> None:
            async with aiomqtt.Client(settings.host, settings.port) as one:
                await one.subscribe(f"home/{number}", qos=1)
                await one.publish(f"home/{number}", b"%d" % number, qos=1)
                heard.append(bytes((await next_message(one)).payload))

        async with broker(settings), publishing_client(settings, PATIENCE_S) as lamp:
            await lamp.subscribe("lamp/#", qos=1)
            await lamp.publish("lamp/1", b"on", qos=1, retain=True)
            await asyncio.gather(*(one_client(number) for number in range(40)))
        assert sorted(map(int, heard)) == list(range(40))

    run(test)


def test_name_and_password_of_the_config_are_asked_for() -> None:
    """3.1.4."""

    async def test() -> None:
        settings = replace(embedded_at(free_port()), username="crew", password=SecretStr("salt-pan"))
        async with broker(settings):
            async with publishing_client(settings, PATIENCE_S) as device:
                await device.publish("x", b"x", qos=1)
            for wrong in (
                replace(settings, password=SecretStr("salt")),
                replace(settings, username="crow"),
                replace(settings, username=None, password=None),
            ):
                with pytest.raises(aiomqtt.MqttError):
                    async with publishing_client(wrong, PATIENCE_S):
                        pass

    run(test)


def test_version_5_is_refused_in_its_own_words_and_in_ours(caplog: pytest.LogCaptureFixture) -> None:
    """MQTT 5.0 (OASIS, 2019), 3.2.2.2: 0x84, unsupported protocol version."""

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings):
            with pytest.raises(aiomqtt.MqttError, match="Unsupported protocol version"):
                async with aiomqtt.Client(settings.host, settings.port, protocol=aiomqtt.ProtocolVersion.V5):
                    pass

    run(test)
    said = r"a client at 127.0.0.1:\d+ is refused: it speaks another version of MQTT; set the device to 3.1.1"
    assert re.search(said, caplog.text)


@pytest.mark.parametrize("start", ["00064d514973647003", "00044d51545403", "00044d51545406"])
def test_other_versions_are_refused(start: str) -> None:
    """MQTT 3.1.1, 3.1.2.2: CONNACK with 0x01, unacceptable protocol level, then the end; 3.1 among them."""

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings):
            reader, writer = await asyncio.open_connection(settings.host, settings.port)
            body = bytes.fromhex(start) + bytes.fromhex("02003c000161")
            writer.write(bytes([0x10, len(body)]) + body)
            assert await reader.readexactly(4) == bytes.fromhex("20020001")
            assert await closed(reader)
            writer.close()

    run(test)


async def closed(reader: asyncio.StreamReader) -> bool:
    """Wait until the broker has closed the connection."""
    try:
        return await asyncio.wait_for(reader.read(), PATIENCE_S) == b""
    except ConnectionResetError:
        return True


def test_a_huge_message_is_refused_at_its_first_bytes() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings):
            reader, writer = await asyncio.open_connection(settings.host, settings.port)
            writer.write(bytes.fromhex("100d00044d5154540402003c000161"))  # CONNECT as "a"
            assert await reader.readexactly(4) == bytes.fromhex("20020000")
            writer.write(bytes.fromhex("30ffffff7f"))  # PUBLISH of 256 MB
            assert await closed(reader)
            writer.close()
            async with publishing_client(settings, PATIENCE_S) as device:
                await device.publish("home/x", bytes(MAX_PACKET_BYTES - 100), qos=1)

    run(test)


def test_a_client_that_says_nothing_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connection, "CONNECT_WITHIN_S", 0.1)

    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings):
            reader, writer = await asyncio.open_connection(settings.host, settings.port)
            assert await closed(reader)
            writer.close()

    run(test)


def test_one_that_sends_too_much_holds_up_nobody_else() -> None:
    """The agent stores nothing: the flood is read no further than its limit, and the others go on."""

    async def test() -> None:
        settings = embedded_at(free_port())
        unbounded = aiomqtt.Client(settings.host, settings.port, max_inflight_messages=0, timeout=PATIENCE_S)
        async with broker(settings) as agent, unbounded as flood:
            sent = [asyncio.create_task(flood.publish(TOPIC, b"%d" % n, qos=1)) for n in range(1000)]
            await until(lambda: len(agent.taken) >= connection.MAX_HELD)
            async with publishing_client(settings, PATIENCE_S) as device:
                other = asyncio.create_task(device.publish(TOPIC, b"other", qos=1))
                await until(lambda: b"other" in agent.payloads())
                agent.taken[agent.payloads().index(b"other")].acknowledge()
                await asyncio.wait_for(other, PATIENCE_S)
            assert len(agent.taken) == connection.MAX_HELD + 1
            agent.stores_at_once = True
            for one in agent.taken:
                one.acknowledge()
            await asyncio.wait_for(asyncio.gather(*sent), PATIENCE_S)
            assert sorted(map(int, agent.payloads()[: connection.MAX_HELD])) == list(range(200))

    run(test)


def test_a_flood_that_nobody_answers_is_dropped_and_said_once(caplog: pytest.LogCaptureFixture) -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as agent, publishing_client(settings, PATIENCE_S) as flood:
            for number in range(2000):
                await flood.publish(TOPIC, b"%d" % number, qos=0)
            last = asyncio.create_task(flood.publish(TOPIC, b"last", qos=1))
            await until(lambda: agent.payloads()[-1:] == [b"last"])
            assert agent.payloads()[:-1] == [b"%d" % number for number in range(200)]
            agent.taken[-1].acknowledge()
            await asyncio.wait_for(last, PATIENCE_S)

    run(test)
    assert caplog.text.count("one is dropped") == 1


def test_it_listens_where_the_config_says_and_nowhere_else() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings):
            with socket.socket() as probe:
                # Every address of 127.0.0.0/8 is this computer, but only one is listened on.
                assert probe.connect_ex(("127.0.0.2", settings.port)) != 0
        with socket.socket() as probe:
            assert probe.connect_ex((LOOPBACK, settings.port)) != 0

    run(test)


def test_a_port_in_use_is_said_in_words() -> None:
    async def test() -> None:
        with socket.socket() as other:
            other.bind((LOOPBACK, 0))
            other.listen()
            settings = embedded_at(other.getsockname()[1])
            with pytest.raises(UsageError, match=rf"127\.0\.0\.1:{settings.port}.*\[broker\] port"):
                async with broker(settings):
                    pass

    run(test)
