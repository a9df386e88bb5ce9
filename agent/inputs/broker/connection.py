"""One client's connection: packets in, answers out in order, and nobody else held up by it."""

import asyncio
from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial
from typing import Protocol

from agent.inputs.broker import wire
from agent.inputs.broker.complaints import Complaints
from agent.inputs.broker.session import Session
from agent.inputs.broker.wire import Answer, Bare, Connect, Message, Publish, Subscribe, Unsubscribe

# A sender of which so much waits for the disk is not read from until some of it is answered.
MAX_HELD = 200
MAX_HELD_BYTES = 1_048_576
# A client that leaves so much unread is not read from, and is sent nothing of quality of service 0.
WRITE_BUFFER_BYTES = 262_144
CONNECT_WITHIN_S = 10.0
KEEP_ALIVE_FACTOR = 1.5  # section 3.1.2.10


class Switch(Protocol):
    """What a connection asks of the broker."""

    complaints: Complaints

    def connect(self, connection: "Connection", packet: Connect) -> tuple[int, bool]:
        """Let the client in or not: the code of CONNACK, and whether its session was kept."""

    def lost(self, connection: "Connection") -> None:
        """The connection has ended; its last will is published where it has one."""

    def publish(self, message: Message, stored: "Stored") -> None:
        """Hand the message on; `stored` is called once, when its sender may forget it."""

    def subscribe(self, session: Session, filters: Iterable[tuple[str, int]]) -> bytes:
        """The codes of SUBACK."""

    def send_retained(self, session: Session, filters: Iterable[tuple[str, int]]) -> None:
        """What is kept of these topics, after the answer to the subscription."""

    def unsubscribe(self, session: Session, filters: Iterable[str]) -> None:
        """End these subscriptions."""


class Stored(Protocol):
    """Called when a message is where it belongs."""

    def __call__(self) -> None: ...


@dataclass(slots=True)
class _Reply:
    """PUBACK or PUBREC that waits for the disk. Section 4.6: answers go out in the order of the messages."""

    kind: int
    number: int
    size: int
    ready: bool = False


class Connection(asyncio.Protocol):
    """The broker's end of one connection."""

    def __init__(self, switch: Switch) -> None:
        self.session: Session | None = None
        self.will: Message | None = None
        self.congested = False
        self._switch = switch
        self._wire = wire.Wire()
        self._loop = asyncio.get_running_loop()
        self._heard_s = self._loop.time()
        self._keep_alive_s = 0
        self._replies: deque[_Reply] = deque()
        self._held_bytes = 0
        self._reading = True

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Part of asyncio's protocol, as are the next four."""
        assert isinstance(transport, asyncio.Transport)
        transport.set_write_buffer_limits(WRITE_BUFFER_BYTES)
        self._transport = transport

    def connection_lost(self, exc: Exception | None) -> None:
        """The network's word, or our own."""
        self._switch.lost(self)

    def pause_writing(self) -> None:
        """The client does not read."""
        self.congested = True

    def resume_writing(self) -> None:
        """It does again."""
        self.congested = False
        self._loop.call_soon(self._work)

    def data_received(self, data: bytes) -> None:
        """Bytes of the client."""
        self._heard_s = self._loop.time()
        self._wire.feed(data)
        self._work()

    def overdue(self, now_s: float) -> bool:
        """Whether the client has been silent for too long; not while nothing is read from it."""
        silent_s = now_s - self._heard_s
        if self.session is None:
            return silent_s > CONNECT_WITHIN_S
        return self._reading and 0 < self._keep_alive_s * KEEP_ALIVE_FACTOR < silent_s

    def send(self, packets: Iterable[bytes]) -> None:
        """Send these bytes; a client that does not read them is not read from."""
        self._transport.write(b"".join(packets))

    def send_due(self) -> None:
        """What the session has for the client."""
        if self.session is not None:
            self.send(self.session.due())

    def end(self) -> None:
        """Close the connection, at once where the client does not read."""
        self._switch.lost(self)
        if self.congested:
            self.abort()
        else:
            self._transport.close()

    def abort(self) -> None:
        """Close the connection whatever has not been sent."""
        self._transport.abort()

    def _work(self) -> None:
        """Take what has come until the client has to wait for its answers."""
        try:
            while not self._waits() and not self._transport.is_closing():
                packet = self._wire.next_packet()
                if packet is None:
                    break
                self._take(packet)
        except wire.ProtocolError as error:
            self._switch.complaints.say("the connection of %s is closed: %s", self._name(), error)
            self.end()
        except wire.VersionError as error:
            self._switch.complaints.say("%s is refused: %s", self._name(), error)
            self.send([error.answer])
            self.end()
        self._read_or_wait()

    def _waits(self) -> bool:
        return self.congested or len(self._replies) >= MAX_HELD or self._held_bytes >= MAX_HELD_BYTES

    def _read_or_wait(self) -> None:
        if self._transport.is_closing() or self._reading == (not self._waits()):
            return
        self._reading = not self._reading
        if self._reading:
            self._heard_s = self._loop.time()
            self._transport.resume_reading()
        else:
            self._transport.pause_reading()

    def _name(self) -> str:
        host = ":".join(map(str, self._transport.get_extra_info("peername")[:2]))
        return f"{self.session.client_id!r} at {host}" if self.session else f"a client at {host}"

    def _take(self, packet: wire.Packet) -> None:
        session = self.session
        if session is None:
            self._connect(packet)
            return
        match packet:
            case Publish():
                self._publish(packet, session)
            case Answer():
                self._answered(packet, session)
            case Subscribe():
                codes = self._switch.subscribe(session, packet.filters)
                self.send([wire.suback(packet.number, codes)])
                self._switch.send_retained(session, packet.filters)
            case Unsubscribe():
                self._switch.unsubscribe(session, packet.filters)
                self.send([wire.answer(wire.UNSUBACK, packet.number)])
            case Bare(wire.PINGREQ):
                self.send([wire.PONG])
            case Bare(wire.DISCONNECT):
                self.will = None
                self.end()
            case _:
                raise wire.ProtocolError("a second CONNECT")

    def _connect(self, packet: wire.Packet) -> None:
        if not isinstance(packet, Connect):
            raise wire.ProtocolError("the first packet is not CONNECT")
        code, present = self._switch.connect(self, packet)
        self.send([wire.connack(code, present)])
        if self.session is None:
            self.end()
            return
        self._keep_alive_s, self.will = packet.keep_alive_s, packet.will
        self.send(self.session.resumed())
        self.send_due()

    def _publish(self, packet: Publish, session: Session) -> None:
        message = packet.message
        if message.qos == 0:
            self._switch.publish(message, _nobody_waits)
            return
        kind = wire.PUBACK if message.qos == 1 else wire.PUBREC
        reply = _Reply(kind, packet.number, len(message.payload))
        self._replies.append(reply)
        self._held_bytes += reply.size
        if packet.number in session.received and kind == wire.PUBREC:
            self._stored(reply)  # section 4.3.3: it was handed on already
        else:
            self._switch.publish(message, partial(self._stored, reply))

    def _stored(self, reply: _Reply) -> None:
        reply.ready = True
        session = self.session
        if session is None:
            return
        while self._replies and self._replies[0].ready:
            first = self._replies.popleft()
            self._held_bytes -= first.size
            if first.kind == wire.PUBREC:
                session.received.add(first.number)
            self.send([wire.answer(first.kind, first.number)])
        if not self._reading and not self._waits():
            self._loop.call_soon(self._work)

    def _answered(self, packet: Answer, session: Session) -> None:
        if packet.kind == wire.PUBREL:
            session.received.discard(packet.number)
            self.send([wire.answer(wire.PUBCOMP, packet.number)])
        elif packet.kind == wire.PUBREC:
            self.send([session.has_it(packet.number)])
        else:
            session.done(packet.number)
            self.send_due()


def _nobody_waits() -> None:
    """For messages that are not answered."""
