"""The broker itself: who is connected, what goes to whom, and the agent's part in it."""

import asyncio
import hmac
import logging
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Sequence
from contextlib import asynccontextmanager

from agent.config import BrokerSettings
from agent.errors import UsageError
from agent.inputs.broker import wire
from agent.inputs.broker.complaints import Complaints
from agent.inputs.broker.connection import Connection, Stored
from agent.inputs.broker.inbox import Inbox
from agent.inputs.broker.router import Router
from agent.inputs.broker.session import Session, at_most
from agent.inputs.broker.wire import Connect, Message
from agent.inputs.mqtt import QOS, Delivery, Outbox, password

LOG = logging.getLogger(__name__)

# A terminal has a dozen devices and viewers.
MAX_CONNECTIONS = 100
MAX_SESSIONS = 200
LOOK_EVERY_S = 1.0


class Broker:
    """Hands messages on. What is the agent's is answered for once the agent has stored it."""

    def __init__(self, settings: BrokerSettings, inbox: Inbox) -> None:
        self._username, self._password = settings.username, password(settings)
        self._inbox = inbox
        self.complaints = inbox.complaints
        self._router = Router()
        self._sessions: dict[str, Session] = {}
        self._connections: set[Connection] = set()
        self._connected: dict[str, Connection] = {}

    async def serve_agent(
        self,
        deliver: Callable[[Sequence[Delivery]], Awaitable[None]],
        outbox: Outbox,
        on_change: Callable[[bool], None],
    ) -> None:
        """As `stay_connected` for an outside broker: hand over what arrives and publish what is to go out."""
        LOG.info("connected to the broker, which is the agent's own")
        on_change(True)
        async with asyncio.TaskGroup() as group:
            group.create_task(self._receive(deliver), name="receive")
            group.create_task(self._publish_news(outbox), name="publish")

    async def _receive(self, deliver: Callable[[Sequence[Delivery]], Awaitable[None]]) -> None:
        while True:
            await deliver(await self._inbox.next_deliveries())

    async def _publish_news(self, outbox: Outbox) -> None:
        while True:
            topic, payload = await outbox.first()
            self._hand_on(Message(topic, payload, QOS, retain=True))
            outbox.done(topic, payload)

    def opened(self) -> asyncio.Protocol:
        """A connection's protocol."""
        connection = Connection(self)
        self._connections.add(connection)
        return connection

    async def look_after(self) -> None:
        """Until cancelled: end the connections of clients that are silent, and those that are too many."""
        while True:
            await asyncio.sleep(LOOK_EVERY_S)
            now_s = asyncio.get_running_loop().time()
            for connection in [one for one in self._connections if one.overdue(now_s)]:
                connection.end()

    async def close(self) -> None:
        """End all connections; nobody's last will is published."""
        ended = list(self._connections)
        for connection in ended:
            connection.will = None
            connection.end()
        await asyncio.sleep(0)
        for connection in ended:
            connection.abort()
        await asyncio.sleep(0)

    def connect(self, connection: Connection, packet: Connect) -> tuple[int, bool]:
        """Part of the switch, as are the next six. Sections 3.1.4 and 3.2.2."""
        code = self._refusal(packet)
        if code != wire.ACCEPTED:
            return code, False
        client_id = packet.client_id or f"unnamed-{secrets.token_hex(8)}"
        if client_id in self._connected:
            self.complaints.say("client %r connects again; its earlier connection ends", client_id)
            self._connected[client_id].end()
        session = self._sessions.pop(client_id, None)
        present = session is not None and not packet.clean
        if session is None or packet.clean:
            self._forget(session)
            session = Session(client_id, packet.clean)
        session.clean = packet.clean
        self._sessions[client_id] = session
        self._connected[client_id] = connection
        connection.session = session
        self._bound_sessions()
        return wire.ACCEPTED, present

    def _refusal(self, packet: Connect) -> int:
        if len(self._connections) > MAX_CONNECTIONS:
            return wire.UNAVAILABLE
        if not packet.client_id and not packet.clean:
            return wire.BAD_CLIENT_ID
        if self._username is None:
            return wire.ACCEPTED
        given = ((packet.username or "").encode(), packet.password or b"")
        wanted = (self._username.encode(), (self._password or "").encode())
        same = [hmac.compare_digest(one, other) for one, other in zip(given, wanted, strict=True)]
        return wire.ACCEPTED if all(same) else wire.BAD_PASSWORD

    def _bound_sessions(self) -> None:
        """The sessions of clients that have been away for longest go first."""
        away = [one for one in self._sessions.values() if one.client_id not in self._connected]
        for session in away[: max(0, len(self._sessions) - MAX_SESSIONS)]:
            self.complaints.say("more than %d clients; %r is forgotten", MAX_SESSIONS, session.client_id)
            self._forget(self._sessions.pop(session.client_id))

    def _forget(self, session: Session | None) -> None:
        if session is not None:
            self._router.forget(session)

    def lost(self, connection: Connection) -> None:
        """The connection has ended, by whomever."""
        self._connections.discard(connection)
        session, connection.session = connection.session, None
        if session is None:
            return
        del self._connected[session.client_id]
        if session.clean:
            self._forget(self._sessions.pop(session.client_id))
        if connection.will is not None:
            self._hand_on(connection.will)

    def publish(self, message: Message, stored: Stored) -> None:
        """To the store first where it is the agent's."""
        self._hand_on(message)
        if self._inbox.concerns(message.topic):
            self._inbox.put(message, stored)
        else:
            stored()

    def _hand_on(self, message: Message) -> None:
        if message.retain and not self._router.keep(message):
            self.complaints.say("too much is to be retained; %s is not", message.topic)
        for session, qos in self._router.receivers(message.topic):
            self._offer(session, at_most(message, qos, retain=False))

    def _offer(self, session: Session, message: Message) -> None:
        connection = self._connected.get(session.client_id)
        if message.qos == 0:
            if connection is not None and not connection.congested:
                connection.send([wire.published(message, 0, again=False)])
            return
        if not session.offer(message):
            self.complaints.say("too much waits for client %r; a message is dropped", session.client_id)
        if connection is not None:
            connection.send_due()

    def subscribe(self, session: Session, filters: Iterable[tuple[str, int]]) -> bytes:
        """Section 3.9.3."""
        granted = [self._router.subscribe(session, name, qos) for name, qos in filters]
        return bytes(
            qos if fine else wire.SUBSCRIPTION_REFUSED
            for (_, qos), fine in zip(filters, granted, strict=True)
        )

    def send_retained(self, session: Session, filters: Iterable[tuple[str, int]]) -> None:
        """Section 3.3.1.3."""
        for name, qos in filters:
            for message in self._router.retained(name):
                self._offer(session, at_most(message, qos, retain=True))

    def unsubscribe(self, session: Session, filters: Iterable[str]) -> None:
        """Section 3.10.4."""
        for name in filters:
            self._router.unsubscribe(session, name)


@asynccontextmanager
async def embedded_broker(settings: BrokerSettings, concerns: Callable[[str], bool]) -> AsyncIterator[Broker]:
    """Listen on the config's host and port; `concerns` says which topics the agent stores.

    Raises UsageError where it cannot listen.
    """
    broker = Broker(settings, Inbox(concerns, Complaints()))
    try:
        server = await asyncio.get_running_loop().create_server(broker.opened, settings.host, settings.port)
    except OSError as error:
        where = f"{settings.host}:{settings.port}"
        raise UsageError(
            f"the broker cannot listen on {where} ({error.strerror}); name a free port in the config"
            " ([broker] port), or the broker that listens there ([broker] host)"
        ) from error
    LOG.info("broker listens on %s:%d", settings.host, settings.port)
    looking = asyncio.create_task(broker.look_after(), name="broker")
    try:
        yield broker
    finally:
        server.close()
        looking.cancel()
        await broker.close()
