"""The broker inside the agent: a publisher's word that a message is safe waits for the store.

Reference: MQTT 3.1.1 (OASIS Standard, 2014), 4.3.2: the receiver of a QoS 1 message takes ownership of it and
then answers with PUBACK; 3.1.4: a client without the right name and password is not let in.
"""

import asyncio
import socket
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

import aiomqtt
import pytest
from pydantic import SecretStr

from agent.config import LOOPBACK, BrokerSettings
from agent.errors import UsageError
from agent.inputs.broker import SteadySubscriptions, embedded_broker
from agent.inputs.gate import DurableGate
from agent.inputs.mqtt import publishing_client
from tests.inputs.test_mqtt import Listener, until
from tests.live import embedded_at, retained
from tests.processes import PATIENCE_S, free_port

AGENT_ID = "peakshade-van-1"
TOPIC = "peakshade/van-1/signal"


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run the coroutine of a test."""
    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))  # type: ignore[arg-type]


@asynccontextmanager
async def broker(settings: BrokerSettings) -> AsyncIterator[DurableGate]:
    """A broker that holds the agent's messages."""
    gate = DurableGate(AGENT_ID, "peakshade/van-1/", "peakshade/van-1/status")
    async with embedded_broker(settings, gate):
        yield gate


@asynccontextmanager
async def agent_of(settings: BrokerSettings) -> AsyncIterator[aiomqtt.Client]:
    """What subscribes as the agent does."""
    async with aiomqtt.Client(
        settings.host, settings.port, identifier=AGENT_ID, clean_session=False
    ) as agent:
        await agent.subscribe("peakshade/van-1/+", qos=1)
        yield agent


async def next_payload(client: aiomqtt.Client) -> bytes:
    """The next message that is delivered."""
    message = await asyncio.wait_for(anext(client.messages), PATIENCE_S)
    return bytes(message.payload)


def test_a_publisher_is_answered_when_the_message_is_stored() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with (
            broker(settings) as gate,
            agent_of(settings) as agent,
            publishing_client(settings, PATIENCE_S) as device,
        ):
            sent = asyncio.create_task(device.publish(TOPIC, b"9.1", qos=1))
            assert await next_payload(agent) == b"9.1"
            done, _ = await asyncio.wait([sent], timeout=0.3)
            assert not done, "answered before the message was stored"
            assert gate.waiting() == [(TOPIC, b"9.1")]
            gate.open(TOPIC, b"9.1")
            await asyncio.wait_for(sent, PATIENCE_S)
            assert gate.waiting() == []

    run(test)


@pytest.mark.parametrize("topic", ["peakshade/van-1/status", "peakshade/van-1/alert/shade", "home/lamp"])
def test_other_messages_are_answered_at_once(topic: str) -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings), publishing_client(settings, PATIENCE_S) as device:
            await device.publish(topic, b"x", qos=1, retain=True)
            assert await asyncio.to_thread(retained, settings.port, topic) == b"x"

    run(test)


def test_what_came_before_the_agent_listens_is_not_lost() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        async with broker(settings) as gate, publishing_client(settings, PATIENCE_S) as device:
            payloads = [b"%d" % number for number in range(10)]
            sent = [asyncio.create_task(device.publish(TOPIC, one, qos=1)) for one in payloads]
            await until(lambda: len(gate.waiting()) == 10)
            async with agent_of(settings) as agent:
                assert [await next_payload(agent) for _ in payloads] == payloads
            # It has stored nothing, and comes back.
            async with Listener().connected(settings) as listener:
                await until(lambda: len(listener.taken) == len(payloads))
                assert listener.payloads() == payloads
                for one in payloads:
                    gate.open(TOPIC, one)
            await asyncio.wait_for(asyncio.gather(*sent), PATIENCE_S)

    run(test)


def test_subscriptions_may_change_while_the_broker_walks_over_them() -> None:
    """Regression: a subscription while another client connected ended that client's service unseen."""
    subscriptions = SteadySubscriptions({"home/#": [], "lamp/#": []})
    walked = []
    for topic in subscriptions:
        subscriptions[f"new/{topic}"] = []
        walked.append(topic)
    assert walked == ["home/#", "lamp/#"]
    for topic, clients in subscriptions.items():
        subscriptions[f"newer/{topic}"] = clients
    assert len(subscriptions) == 8


def test_clients_that_come_together_are_all_heard() -> None:
    async def test() -> None:
        settings = embedded_at(free_port())
        heard: list[bytes] = []

        async def client(number: int) -> None:
            async with aiomqtt.Client(settings.host, settings.port) as one:
                await one.subscribe(f"home/{number}", qos=1)
                await one.publish(f"home/{number}", b"%d" % number, qos=1)
                async with asyncio.timeout(PATIENCE_S):
                    async for message in one.messages:
                        if message.topic.value == f"home/{number}":
                            heard.append(bytes(message.payload))
                            return

        async with broker(settings), publishing_client(settings, PATIENCE_S) as lamp:
            await lamp.subscribe("lamp/#", qos=1)
            await lamp.publish("lamp/1", b"on", qos=1, retain=True)
            await asyncio.gather(*(client(number) for number in range(40)))
        assert sorted(map(int, heard)) == list(range(40))

    run(test)


def test_name_and_password_of_the_config_are_asked_for() -> None:
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
