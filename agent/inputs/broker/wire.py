"""Packets of MQTT 3.1.1 from bytes and to bytes. Pure.

Sections and tables are those of the OASIS standard of 2014. A client of version 5 is told in its own words
that it is not spoken here, whereupon most of them take 3.1.1.
"""

from dataclasses import dataclass

# Four times the largest reading that is parsed.
MAX_PACKET_BYTES = 262_144
# Table 2.1; the low half of the first byte is table 2.2.
CONNECT, CONNACK, PUBLISH, PUBACK, PUBREC, PUBREL, PUBCOMP = range(1, 8)
SUBSCRIBE, SUBACK, UNSUBSCRIBE, UNSUBACK, PINGREQ, PINGRESP, DISCONNECT = range(8, 15)
_FLAGS = {PUBREL: 0x02, SUBSCRIBE: 0x02, UNSUBSCRIBE: 0x02}
_SENT_BY_CLIENTS = {
    CONNECT, PUBLISH, PUBACK, PUBREC, PUBREL, PUBCOMP, SUBSCRIBE, UNSUBSCRIBE, PINGREQ, DISCONNECT,
}  # fmt: skip
# The standard sets no limit; a walk through more would take long.
MAX_LEVELS = 100
# Section 2.2.3: at most four bytes, seven bits in each.
_LENGTH_BYTES = 4
_NAME_AND_LEVEL = b"\x00\x04MQTT\x04"
# Table 3.1.
ACCEPTED, WRONG_VERSION, BAD_CLIENT_ID, UNAVAILABLE, BAD_PASSWORD = range(5)
# MQTT 5.0 (OASIS 2019), section 3.2.2.2: unsupported protocol version, with no properties.
REFUSAL_OF_5 = bytes([CONNACK << 4, 3, 0, 0x84, 0])
# Table 3.9 of section 3.9.3.
SUBSCRIPTION_REFUSED = 0x80


class ProtocolError(Exception):
    """What the client sent breaks the standard or a limit: its connection is closed (section 4.8)."""


class VersionError(Exception):
    """The client speaks another version; `answer` tells it so."""

    def __init__(self, answer: bytes) -> None:
        super().__init__("it speaks another version of MQTT; set the device to 3.1.1 (often called 4)")
        self.answer = answer


@dataclass(frozen=True, slots=True)
class Message:
    """What is published."""

    topic: str
    payload: bytes
    qos: int
    retain: bool = False


@dataclass(frozen=True, slots=True)
class Connect:
    """A client's first packet; `keep_alive_s` 0: it may be silent for ever."""

    client_id: str
    clean: bool
    keep_alive_s: int
    will: Message | None
    username: str | None
    password: bytes | None


@dataclass(frozen=True, slots=True)
class Publish:
    """A message on its way; the number is 0 where nothing is answered."""

    message: Message
    number: int
    again: bool


@dataclass(frozen=True, slots=True)
class Answer:
    """PUBACK, PUBREC, PUBREL or PUBCOMP."""

    kind: int
    number: int


@dataclass(frozen=True, slots=True)
class Subscribe:
    """Filters with the highest quality of service that is wanted."""

    number: int
    filters: tuple[tuple[str, int], ...]


@dataclass(frozen=True, slots=True)
class Unsubscribe:
    """Filters that are wanted no more."""

    number: int
    filters: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Bare:
    """PINGREQ or DISCONNECT."""

    kind: int


Packet = Connect | Publish | Answer | Subscribe | Unsubscribe | Bare


class Wire:
    """One client's bytes, cut into packets."""

    def __init__(self) -> None:
        self._buffer = bytearray()

    def feed(self, data: bytes) -> None:
        """Bytes as they came."""
        self._buffer += data

    def next_packet(self) -> Packet | None:
        """The next whole packet, None where it is not all here.

        Raises ProtocolError, at the first bytes of a packet that would be too large already, or VersionError.
        """
        if not self._buffer:
            return None
        kind, flags = divmod(self._buffer[0], 16)
        if kind not in _SENT_BY_CLIENTS or (kind != PUBLISH and flags != _FLAGS.get(kind, 0)):
            raise ProtocolError(f"first byte {self._buffer[0]:#04x}")
        frame = _frame(self._buffer)
        if frame is None or len(self._buffer) < sum(frame):
            return None
        header, length = frame
        body = bytes(self._buffer[header : header + length])
        del self._buffer[: header + length]
        return _parsed(kind, flags, _Body(body))


def _frame(buffer: bytearray) -> tuple[int, int] | None:
    """Bytes of the fixed header and of what follows; None where the header is not all here."""
    length = 0
    for place in range(1, min(len(buffer), 1 + _LENGTH_BYTES)):
        length |= (buffer[place] & 0x7F) << 7 * (place - 1)
        if length > MAX_PACKET_BYTES:
            raise ProtocolError(f"a packet of {length} bytes or more; allowed are {MAX_PACKET_BYTES}")
        if not buffer[place] & 0x80:
            return place + 1, length
    if len(buffer) > _LENGTH_BYTES:
        raise ProtocolError("a length of more than four bytes")
    return None


@dataclass(slots=True)
class _Body:
    """What follows the fixed header, read from front to back."""

    data: bytes
    place: int = 0

    def taken(self, count: int) -> bytes:
        """The next bytes; ProtocolError where there are fewer."""
        start, self.place = self.place, self.place + count
        if self.place > len(self.data):
            raise ProtocolError("a packet that is shorter than what it announces")
        return self.data[start : self.place]

    def number(self) -> int:
        """Two bytes, high one first."""
        return int.from_bytes(self.taken(2), "big")

    def binary(self) -> bytes:
        """Bytes after their count."""
        return self.taken(self.number())

    def text(self) -> str:
        """UTF-8 without U+0000 (section 1.5.3)."""
        try:
            text = self.binary().decode()
        except UnicodeDecodeError as error:
            raise ProtocolError("text that is not UTF-8") from error
        if "\0" in text:
            raise ProtocolError("U+0000 in a text")
        return text

    def identifier(self) -> int:
        """A packet identifier, which is not 0 (section 2.3.1)."""
        number = self.number()
        if number == 0:
            raise ProtocolError("packet identifier 0")
        return number

    def rest(self) -> bytes:
        """All that is left."""
        return self.taken(len(self.data) - self.place)

    def left(self) -> bool:
        """Whether anything is."""
        return self.place < len(self.data)


def _parsed(kind: int, flags: int, body: _Body) -> Packet:
    packet = _packet(kind, flags, body)
    if body.left():
        raise ProtocolError("more bytes than the packet needs")
    return packet


def _packet(kind: int, flags: int, body: _Body) -> Packet:
    if kind == PUBLISH:
        return _publish(flags, body)
    if kind in (PUBACK, PUBREC, PUBREL, PUBCOMP):
        return Answer(kind, body.identifier())
    if kind == CONNECT:
        return _connect(body)
    if kind == SUBSCRIBE:
        return _subscribe(body)
    if kind == UNSUBSCRIBE:
        return _unsubscribe(body)
    return Bare(kind)


def _publish(flags: int, body: _Body) -> Publish:
    qos = _qos(flags >> 1 & 3)
    topic = body.text()
    check_topic(topic)
    number = body.identifier() if qos else 0
    return Publish(Message(topic, body.rest(), qos, bool(flags & 1)), number, bool(flags & 8))


def check_topic(topic: str) -> None:
    """Section 4.7.3 and 3.3.2.1; raises ProtocolError."""
    if not topic or "+" in topic or "#" in topic or topic.count("/") >= MAX_LEVELS:
        raise ProtocolError(f"a topic that is empty, has wildcards or more than {MAX_LEVELS} levels")


def _check_filter(name: str) -> None:
    """Section 4.7.1: a wildcard fills its level, and # is the last one."""
    *upper, last = name.split("/")
    mixed = any(level != "+" and ("+" in level or "#" in level) for level in upper)
    mixed |= last not in ("+", "#") and ("+" in last or "#" in last)
    if not name or len(upper) >= MAX_LEVELS or mixed:
        raise ProtocolError("a topic filter that is none")


def _qos(code: int) -> int:
    if code > 2:
        raise ProtocolError("a quality of service that is none")
    return code


def _connect(body: _Body) -> Connect:
    """Section 3.1."""
    start = body.data[: len(_NAME_AND_LEVEL)]
    if start != _NAME_AND_LEVEL:
        raise _other_version(start)
    body.taken(len(_NAME_AND_LEVEL))
    flags = body.taken(1)[0]
    keep_alive_s, client_id = body.number(), body.text()
    will = None
    if flags & 0x04:
        topic = body.text()
        check_topic(topic)
        will = Message(topic, body.binary(), _qos(flags >> 3 & 3), bool(flags & 0x20))
    username = body.text() if flags & 0x80 else None
    password = body.binary() if flags & 0x40 else None
    if flags & 0x01 or (will is None and flags & 0x38) or (username is None and password is not None):
        raise ProtocolError("connect flags that do not go together")
    return Connect(client_id, bool(flags & 0x02), keep_alive_s, will, username, password)


def _other_version(start: bytes) -> Exception:
    name, level = start[:-1], start[-1:]
    if name == _NAME_AND_LEVEL[:-1] and level == b"\x05":
        return VersionError(REFUSAL_OF_5)
    if name == _NAME_AND_LEVEL[:-1] or start.startswith(b"\x00\x06MQIsd"):
        return VersionError(connack(WRONG_VERSION, False))
    return ProtocolError("another protocol than MQTT")


def _subscribe(body: _Body) -> Subscribe:
    number = body.identifier()
    filters: list[tuple[str, int]] = []
    while body.left() or not filters:
        name = body.text()
        _check_filter(name)
        filters.append((name, _qos(body.taken(1)[0])))
    return Subscribe(number, tuple(filters))


def _unsubscribe(body: _Body) -> Unsubscribe:
    number = body.identifier()
    filters: list[str] = []
    while body.left() or not filters:
        filters.append(body.text())
    return Unsubscribe(number, tuple(filters))


def _framed(first: int, body: bytes) -> bytes:
    length, left = bytearray(), len(body)
    while True:
        left, low = divmod(left, 128)
        length.append(low | (0x80 if left else 0))
        if not left:
            return bytes([first]) + length + body


def connack(code: int, session_present: bool) -> bytes:
    """The answer to CONNECT."""
    return bytes([CONNACK << 4, 2, session_present, code])


def published(message: Message, number: int, again: bool) -> bytes:
    """PUBLISH; `number` 0 where the message's quality of service is 0."""
    topic = message.topic.encode()
    first = PUBLISH << 4 | again << 3 | message.qos << 1 | message.retain
    name = len(topic).to_bytes(2, "big") + topic
    return _framed(first, name + (number.to_bytes(2, "big") if number else b"") + message.payload)


def answer(kind: int, number: int) -> bytes:
    """PUBACK, PUBREC, PUBREL, PUBCOMP or UNSUBACK."""
    return bytes([kind << 4 | _FLAGS.get(kind, 0), 2]) + number.to_bytes(2, "big")


def suback(number: int, codes: bytes) -> bytes:
    """The answer to SUBSCRIBE: the quality of service of each filter, or SUBSCRIPTION_REFUSED."""
    return _framed(SUBACK << 4, number.to_bytes(2, "big") + codes)


PONG = bytes([PINGRESP << 4, 0])
