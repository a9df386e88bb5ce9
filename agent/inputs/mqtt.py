"""The agent's connection to the broker: readings in with their acknowledgement in our hands, news out.

Quality of service 1 and a persistent session: what the agent has not acknowledged waits in the broker and is
delivered again.
"""

import asyncio
import logging
import random
import secrets
import time
from collections import deque
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from types import TracebackType
from typing import Self, TypeVar

import aiomqtt

from agent.config import LOOPBACK, BrokerSettings

LOG = logging.getLogger(__name__)

QOS = 1  # at least once
# Messages that have arrived and wait for the agent; more than a few seconds' worth at full speed.
MAX_WAITING = 20_000
MAX_AT_ONCE = 500
# Of a publisher's messages; a group of them shares one wait for the disk.
MAX_IN_FLIGHT = 200
# The agent answers only when a reading is on its disk, which may be slow or full for a while.
DELIVERY_TIMEOUT_S = 60.0
# A broker that is gone without a word is missed after two of these; the crew hears of it within 10 s.
KEEP_ALIVE_S = 3
FIRST_DELAY_S = 1.0
LONGEST_DELAY_S = 30.0
# A line that is back carries alerts again within 10 s, also where packets just vanished: an attempt that
# began before gives up after 5 s, and the next one takes four or five round trips by satellite.
BROKER_DELAY_S = 2.5
# A connection that ends so often within so long, and stands again at the first try each time, was taken by
# another client of the same name: one that comes back at once, or one that takes its time.
SNATCHED = ((5, 15.0), (10, 600.0))
WITNESS_WITHIN_S = 10.0
TOGETHER_S = 0.5  # two ends within this are one
EVERY_ADDRESS = ("0.0.0.0", "::", "")

ResultT = TypeVar("ResultT")


@dataclass(slots=True)
class Delivery:
    """One message; `acknowledge` is called once it need not be delivered again.

    `retained`: the broker had kept it from before the agent listened.
    """

    topic: str
    payload: bytes
    acknowledge: Callable[[], None]
    retained: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """What the connection is for. The client id is fixed, because the broker keeps the session by it.

    `on_rival` hears the id where another client uses it too. `retain`: the broker keeps what is published;
    `publish_qos` 0: nobody waits for its answer, and what is lost is asked for again.
    """

    broker: BrokerSettings
    client_id: str
    topic: str
    will: aiomqtt.Will | None = None
    kept: bool = True
    retain: bool = True
    publish_qos: int = QOS
    keep_alive_s: int = KEEP_ALIVE_S
    protocol: aiomqtt.ProtocolVersion = aiomqtt.ProtocolVersion.V311
    on_rival: Callable[[str], None] = lambda _: None


class Outbox:
    """News to publish: of each topic only the latest counts."""

    def __init__(self) -> None:
        self._latest: dict[str, bytes] = {}
        self._filled = asyncio.Event()
        self._empty = asyncio.Event()
        self._empty.set()

    def put(self, topic: str, payload: bytes) -> None:
        """Publish this as soon as the broker can be reached."""
        self._latest[topic] = payload
        self._filled.set()
        self._empty.clear()

    async def first(self) -> tuple[str, bytes]:
        """Wait for news; they stay until `done`."""
        await self._filled.wait()
        return next(iter(self._latest.items()))

    def done(self, topic: str, payload: bytes) -> None:
        """The broker has it. Newer news of the same topic stay."""
        if self._latest[topic] is payload:
            del self._latest[topic]
        if not self._latest:
            self._filled.clear()
            self._empty.set()

    async def emptied(self) -> None:
        """Wait until the broker has everything."""
        await self._empty.wait()


class _Arrivals(asyncio.Queue[aiomqtt.Message | None]):
    """What has arrived; None where the connection has ended.

    Breaks the connection when too much waits: what is not acknowledged then waits in the broker. The
    library's own bounded queue would drop messages that the broker only delivers again after a reconnect.
    """

    def put_nowait(self, item: aiomqtt.Message | None) -> None:
        if item is not None and self.qsize() >= MAX_WAITING:
            raise aiomqtt.MqttError(f"{MAX_WAITING} messages wait for the agent")
        super().put_nowait(item)


def connect_host(broker: BrokerSettings) -> str:
    """Where to reach a broker that may listen on every address of this computer."""
    return LOOPBACK if broker.host in EVERY_ADDRESS else broker.host


def password(broker: BrokerSettings) -> str | None:
    """The password in the clear, for the library."""
    return None if broker.password is None else broker.password.get_secret_value()


def tls_parameters(broker: BrokerSettings) -> aiomqtt.TLSParameters | None:
    """The authorities that the computer trusts, or the one of the config."""
    if not broker.tls:
        return None
    return aiomqtt.TLSParameters(ca_certs=None if broker.ca_file is None else str(broker.ca_file))


class _Client(aiomqtt.Client):
    """Ends when it is asked to, also in the moment of the broker's answer.

    The library waits by asyncio.wait_for, which in Python 3.11 loses a cancellation that comes together with
    what it waits for; and at the connection's end it reads a future, which fails for one that is cancelled.
    """

    async def _wait_for(self, fut: Awaitable[ResultT], timeout: float | None) -> ResultT:  # noqa: ASYNC109
        try:
            async with asyncio.timeout(self.timeout if timeout is None else timeout):
                return await (asyncio.shield(fut) if isinstance(fut, asyncio.Future) else fut)
        except TimeoutError:
            raise aiomqtt.MqttError("Operation timed out") from None


def publishing_client(broker: BrokerSettings, timeout_s: float) -> aiomqtt.Client:
    """A connection for a program that only publishes; the broker keeps nothing of it."""
    return _Client(
        connect_host(broker),
        broker.port,
        username=broker.username,
        password=password(broker),
        timeout=timeout_s,
        tls_params=tls_parameters(broker),
        max_inflight_messages=MAX_IN_FLIGHT,
    )


def feeding_client(broker: BrokerSettings) -> aiomqtt.Client:
    """A connection for readings, as many at once as the broker takes."""
    client = publishing_client(broker, DELIVERY_TIMEOUT_S)
    client.pending_calls_threshold = MAX_IN_FLIGHT
    return client


class _Connection(_Client):
    """The one place that reaches into the library, for what it does not offer.

    It acknowledges each message on arrival, and only the paho client within it can leave that to us
    (`manual_ack_set`, `ack`). And it hands out one message a wait, at three times the cost of parsing one, so
    the queue that it fills is read here.
    """

    def __init__(self, link: Link) -> None:
        broker = link.broker
        super().__init__(
            connect_host(broker),
            broker.port,
            username=broker.username,
            password=password(broker),
            identifier=link.client_id,
            protocol=link.protocol,
            will=link.will,
            keepalive=link.keep_alive_s,
            # With version 5 a session ends with its connection where nothing else is said.
            clean_session=None if link.protocol == aiomqtt.ProtocolVersion.V5 else not link.kept,
            tls_params=tls_parameters(broker),
        )
        self._client.manual_ack_set(True)
        self._arrivals = _Arrivals()
        # The library only ever puts messages into it.
        self._queue = self._arrivals  # type: ignore[assignment]

    async def __aenter__(self) -> Self:
        await super().__aenter__()
        self._disconnected.add_done_callback(lambda _: self._arrivals.put_nowait(None))
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Where `_Arrivals` has broken the connection, the library believes that it is closed already."""
        await super().__aexit__(kind, error, trace)
        if self._client.is_connected():
            self._client.disconnect()

    async def next_deliveries(self) -> list[Delivery]:
        """Wait for a message; it and what came with it, in order. MqttError at the connection's end."""
        message = await self._arrivals.get()
        found: list[Delivery] = []
        while message is not None:
            acknowledge = partial(self._acknowledge, message.mid, message.qos)
            found.append(
                Delivery(str(message.topic), bytes(message.payload), acknowledge, bool(message.retain))
            )
            if len(found) == MAX_AT_ONCE or self._arrivals.empty():
                return found
            message = self._arrivals.get_nowait()
        raise aiomqtt.MqttError("the connection has ended") from self._disconnected.exception()

    def _acknowledge(self, message_id: int, qos: int) -> None:
        # After a reconnect the id may belong to another message; the broker delivers this one again.
        if not self._disconnected.done():
            self._client.ack(message_id, qos)


async def stay_connected(
    link: Link,
    deliver: Callable[[Sequence[Delivery]], Awaitable[None]],
    outbox: Outbox,
    on_change: Callable[[bool], None],
) -> None:
    """Run until cancelled: connect, hand over what arrives, publish what is in the outbox, connect again.

    `on_change` hears when the connection stands (True) and when it does not.
    """
    failures = 0
    witness: _Witness | None = None
    ends: deque[float] = deque(maxlen=max(count for count, _ in SNATCHED))
    where = f"{link.broker.host}:{link.broker.port}"
    while True:
        stood = False
        try:
            async with _Connection(link) as connection:
                await _subscribe(connection, link.topic)
                LOG.info("connected to the broker at %s", where)
                failures, stood = 0, True
                on_change(True)
                async with asyncio.TaskGroup() as group:
                    group.create_task(_receive(connection, deliver), name="receive")
                    group.create_task(_publish(connection, outbox, link), name="publish")
        except* aiomqtt.MqttError as errors:
            on_change(False)
            if stood:
                ends.append(time.monotonic())
            else:
                ends.clear()
            if witness is not None:
                if await witness.still_stands() and stood:
                    link = _under_another_name(link, where)
                await witness.end()
                witness = None
                ends.clear()
            elif snatched(ends):
                witness = _Witness(link.broker)
            delay_s = retry_delay_s(failures, BROKER_DELAY_S)
            failures += 1
            LOG.warning("broker %s: %s; trying again in %.1f s", where, errors.exceptions[0], delay_s)
            await asyncio.sleep(delay_s)


def snatched(ends_s: Sequence[float]) -> bool:
    """Whether connections that ended at these moments (s, the latest last) were taken by another client."""
    return any(
        len(ends_s) >= count and ends_s[-1] - ends_s[-count] <= within_s for count, within_s in SNATCHED
    )


class _Witness:
    """A second connection, of another name: a broker that restarts, or a bad line, ends it with the first."""

    def __init__(self, broker: BrokerSettings) -> None:
        self._connected = False
        self._task = asyncio.create_task(self._stand(broker), name="witness")

    async def _stand(self, broker: BrokerSettings) -> None:
        with suppress(aiomqtt.MqttError):
            async with publishing_client(broker, WITNESS_WITHIN_S) as client:
                self._connected = True
                async for _ in client.messages:
                    pass
        self._connected = False

    async def still_stands(self) -> bool:
        """Whether it does, a moment after another one has ended."""
        await asyncio.sleep(TOGETHER_S)
        return self._connected

    async def end(self) -> None:
        """Close it."""
        self._task.cancel()
        await asyncio.gather(self._task, return_exceptions=True)


def _under_another_name(link: Link, where: str) -> Link:
    """Section 3.1.4 of MQTT 3.1.1: a second client of one id ends the first one's connection, and so on."""
    other = replace(link, client_id=f"{link.client_id}-{secrets.token_hex(3)}", kept=False)
    LOG.error(
        "broker %s ends the connection again and again: another client calls itself %r too. Going on as %r,"
        " for which the broker keeps nothing while it is away; end the other one, then start this agent anew",
        where,
        link.client_id,
        other.client_id,
    )
    link.on_rival(link.client_id)
    return other


def retry_delay_s(failures: int, longest_s: float = LONGEST_DELAY_S) -> float:
    """Twice as long after each failure, up to a limit, and spread so that agents do not knock together."""
    delay_s = min(longest_s, FIRST_DELAY_S * 2.0 ** min(failures, 10))
    return delay_s * random.uniform(0.5, 1.0)


async def _subscribe(connection: aiomqtt.Client, topic: str) -> None:
    (granted,) = await connection.subscribe(topic, qos=QOS)
    code = granted if isinstance(granted, int) else granted.value
    if code != QOS:
        raise aiomqtt.MqttError(f"no quality of service {QOS} for {topic} (code {code})")


async def _receive(connection: _Connection, deliver: Callable[[Sequence[Delivery]], Awaitable[None]]) -> None:
    while True:
        await deliver(await connection.next_deliveries())


async def _publish(connection: aiomqtt.Client, outbox: Outbox, link: Link) -> None:
    while True:
        topic, payload = await outbox.first()
        await connection.publish(topic, payload, qos=link.publish_qos, retain=link.retain)
        outbox.done(topic, payload)
