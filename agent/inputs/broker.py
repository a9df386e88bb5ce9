"""A small MQTT broker inside the agent, for terminals that have none.

It is amqtt, which tells a publisher that a message is safe before any subscriber has it, keeps everything in
memory, and forgets what a subscriber has not acknowledged when that one's connection ends. Here the word to
the publisher waits until the reading is on the disk, so that the publisher delivers again whatever was lost.
"""

import asyncio
import hmac
import logging
from collections.abc import AsyncIterator, ItemsView, Iterator
from contextlib import asynccontextmanager
from dataclasses import dataclass

from amqtt.broker import Broker
from amqtt.errors import BrokerError
from amqtt.plugins.base import BaseAuthPlugin
from amqtt.session import ApplicationMessage, Session

from agent.config import BrokerSettings
from agent.errors import UsageError
from agent.inputs.gate import DurableGate
from agent.inputs.mqtt import password

LOG = logging.getLogger(__name__)

# A terminal has a dozen devices and viewers.
MAX_CONNECTIONS = 100


class _Inbox(asyncio.Queue[ApplicationMessage]):
    """Where the broker puts a publisher's message before it tells the publisher that it is safe."""

    def __init__(self, gate: DurableGate) -> None:
        super().__init__()
        self._gate = gate

    async def put(self, item: ApplicationMessage) -> None:
        """Returns when the message is stored, where the agent stores it."""
        self.put_nowait(item)
        if self._gate.concerns(item.topic):
            await self._gate.stored(item.topic, bytes(item.data))


class AgentPlugin(BaseAuthPlugin):  # type: ignore[misc]  # amqtt publishes no types
    """Lets clients in, and holds the word that a message is safe."""

    @dataclass
    class Config:
        """`username` None: everybody may connect."""

        gate: DurableGate
        username: str | None
        password: str | None

    async def authenticate(self, *, session: Session) -> bool:
        """Whether the client gave the name and password of the config.

        The broker has read nothing of the session yet but who it is: time to give every publisher but the
        agent itself the inbox that waits for the store.
        """
        held = isinstance(session.delivered_message_queue, _Inbox)
        if session.client_id != self.config.gate.agent_id and not held:
            session.delivered_message_queue = _Inbox(self.config.gate)
        if self.config.username is None:
            return True
        given = (session.username or "", session.password or "")
        wanted = (self.config.username, self.config.password or "")
        return all(hmac.compare_digest(a.encode(), b.encode()) for a, b in zip(given, wanted, strict=True))

    async def on_broker_client_subscribed(self, *, client_id: str, topic: str, qos: int) -> None:
        """What came before the agent listened, or while it was away, goes to it now."""
        if client_id == self.config.gate.agent_id:
            for held_topic, payload in self.config.gate.waiting():
                await self.context.broadcast_message(held_topic, payload, qos)


class SteadySubscriptions(dict[str, list[tuple[Session, int]]]):
    """Subscriptions by topic that may change while the broker walks over them.

    amqtt walks over them with pauses; a subscription that comes in between would end the walk with an error,
    and with it a client's connection or a message's delivery.
    """

    def __iter__(self) -> Iterator[str]:
        return iter(list(self.keys()))

    def items(self) -> ItemsView[str, list[tuple[Session, int]]]:  # type: ignore[override]
        """As they are now."""
        return dict(zip(self.keys(), self.values(), strict=True)).items()


@asynccontextmanager
async def embedded_broker(settings: BrokerSettings, gate: DurableGate) -> AsyncIterator[None]:
    """Listen on the config's host and port; raises UsageError where that is not possible."""
    plugin = {"gate": gate, "username": settings.username, "password": password(settings)}
    listener = {
        "type": "tcp",
        "bind": f"{settings.host}:{settings.port}",
        "max_connections": MAX_CONNECTIONS,
    }
    broker = Broker(
        {
            "listeners": {"default": listener},
            "plugins": {f"{AgentPlugin.__module__}.{AgentPlugin.__qualname__}": plugin},
        }
    )
    broker._subscriptions = SteadySubscriptions()
    try:
        await broker.start()
    except BrokerError as error:
        where = f"{settings.host}:{settings.port}"
        raise UsageError(
            f"the broker cannot listen on {where} ({error.__cause__ or error}); name a free port in the"
            " config ([broker] port), or the broker that listens there ([broker] host)"
        ) from error
    LOG.info("broker listens on %s:%d", settings.host, settings.port)
    try:
        yield
    finally:
        await broker.shutdown()
