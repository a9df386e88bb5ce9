"""What the broker keeps for one client: its subscriptions and what it has not acknowledged. Pure."""

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from agent.inputs.broker.wire import PUBREL, Message, answer, published

# Of a session's messages, on their way and not acknowledged.
WINDOW = 200
# Of those that wait because the client is away or slow; beyond it the newer ones are dropped.
MAX_WAITING = 1000
MAX_WAITING_BYTES = 1_048_576
_LAST_NUMBER = 65_535


@dataclass(slots=True)
class Session:
    """Messages of quality of service 1 and 2 to one client; section 4.1.

    `received` has the numbers of its own messages of quality of service 2 that wait for its PUBREL.
    """

    client_id: str
    clean: bool
    subscriptions: set[str] = field(default_factory=set)
    received: set[int] = field(default_factory=set)
    _waiting: deque[Message] = field(default_factory=deque)
    _waiting_bytes: int = 0
    # None: of quality of service 2, and the client has it; its PUBCOMP is waited for.
    _in_flight: dict[int, Message | None] = field(default_factory=dict)
    _number: int = 0

    def offer(self, message: Message) -> bool:
        """A message of quality of service 1 or 2; `due` sends it. False where it is dropped."""
        size = len(message.payload) + len(message.topic)
        if len(self._waiting) >= MAX_WAITING or self._waiting_bytes + size > MAX_WAITING_BYTES:
            return False
        self._waiting.append(message)
        self._waiting_bytes += size
        return True

    def due(self) -> Iterator[bytes]:
        """What may be sent now, as bytes; it counts as sent."""
        while self._waiting and len(self._in_flight) < WINDOW:
            message = self._waiting.popleft()
            self._waiting_bytes -= len(message.payload) + len(message.topic)
            number = self._next_number()
            self._in_flight[number] = message
            yield published(message, number, again=False)

    def resumed(self) -> Iterator[bytes]:
        """What was on its way when the connection ended, again and in order (section 4.4)."""
        for number, message in self._in_flight.items():
            yield answer(PUBREL, number) if message is None else published(message, number, again=True)

    def done(self, number: int) -> None:
        """PUBACK or PUBCOMP has come."""
        self._in_flight.pop(number, None)

    def has_it(self, number: int) -> bytes:
        """PUBREC has come; what is answered."""
        if number in self._in_flight:
            self._in_flight[number] = None
        return answer(PUBREL, number)

    def _next_number(self) -> int:
        while True:
            self._number = self._number % _LAST_NUMBER + 1
            if self._number not in self._in_flight:
                return self._number


def at_most(message: Message, qos: int, retain: bool) -> Message:
    """The message as a subscription asks for it (sections 3.8.4 and 3.3.1.3)."""
    if message.qos <= qos and message.retain == retain:
        return message
    return replace(message, qos=min(message.qos, qos), retain=retain)
