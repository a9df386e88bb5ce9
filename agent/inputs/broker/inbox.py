"""The agent's own ear at its broker: readings, and the word to their senders once they are stored."""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

from agent.inputs.broker.complaints import Complaints
from agent.inputs.broker.wire import Message
from agent.inputs.mqtt import MAX_AT_ONCE, Delivery

# Of messages that nobody waits for, so many may be on their way to the disk; the others wait behind them.
MAX_UNANSWERED = 200
MAX_UNANSWERED_BYTES = 4_194_304


@dataclass(slots=True)
class Inbox:
    """Messages on their way to the store; `concerns` says which topics are the agent's.

    A sender of quality of service 1 or 2 is held back by what it has not been answered. One of quality of
    service 0 is not, so what comes from those beyond a limit is dropped, as that service allows (4.3.1).
    """

    concerns: Callable[[str], bool]
    complaints: Complaints
    _waiting: asyncio.Queue[Delivery] = field(default_factory=asyncio.Queue)
    _unanswered: int = 0
    _unanswered_bytes: int = 0

    def put(self, message: Message, stored: Callable[[], None]) -> None:
        """Take a message; `stored` is called once it is on the disk."""
        if message.qos == 0:
            if self._unanswered >= MAX_UNANSWERED or self._unanswered_bytes >= MAX_UNANSWERED_BYTES:
                self._drop(message.topic)
                return
            self._unanswered += 1
            self._unanswered_bytes += len(message.payload)
            stored = partial(self._stored, len(message.payload))
        self._waiting.put_nowait(Delivery(message.topic, message.payload, stored))

    async def next_deliveries(self) -> list[Delivery]:
        """Wait for a message; it and what came with it, in order."""
        found = [await self._waiting.get()]
        while len(found) < MAX_AT_ONCE and not self._waiting.empty():
            found.append(self._waiting.get_nowait())
        return found

    def _stored(self, size: int) -> None:
        self._unanswered -= 1
        self._unanswered_bytes -= size

    def _drop(self, topic: str) -> None:
        self.complaints.say(
            "more messages of quality of service 0 come than can be stored, on %s; one is dropped: send at"
            " quality of service 1, or less often",
            topic,
        )
