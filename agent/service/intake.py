"""From the broker to the writer: one bounded queue of messages, the clock's ticks and the last word.

Where it is full the subscriber waits, and what it has not taken stays unacknowledged in the broker.
"""

import asyncio
import logging
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from agent.clock import Clock, change_in_words
from agent.inputs.messages import is_reading_topic, kind_of, reading_topic, to_message
from agent.inputs.mqtt import Delivery
from agent.inputs.payloads import PayloadError, parse
from agent.records import ClockChange, Note
from agent.service.hearing import Hearing
from agent.service.pipeline import Pipeline
from agent.service.sole import has_ended_here, owner_in_status, this_agent
from agent.service.taps import named
from agent.store.writer import Arrival, Refusal

LOG = logging.getLogger(__name__)

QUEUE_LENGTH = 2000
# Messages of one transaction: enough to share the wait for the disk, few enough to stay quick.
GROUP_LENGTH = 500


@dataclass(slots=True)
class Message:
    """What is to be stored, and whom to tell once it is."""

    content: Arrival | Refusal
    delivery: Delivery


@dataclass(frozen=True, slots=True)
class Tick:
    """The engine's time has come to this."""

    unix_s: float


@dataclass(frozen=True, slots=True)
class Stop:
    """Nothing comes after."""


@dataclass(frozen=True, slots=True)
class Word:
    """Something else for the pipeline, in its turn."""

    call: Callable[[Pipeline], None]


Item = Message | Tick | Word | Stop


class Intake:
    """What one terminal's agent has heard and not stored yet."""

    def __init__(self, terminal: str, clock: Clock, hearing: Hearing) -> None:
        self._terminal = terminal
        self._clock = clock
        self._hearing = hearing
        self.owner = this_agent(terminal)
        self._queue: asyncio.Queue[Item] = asyncio.Queue(QUEUE_LENGTH)

    async def put(self, item: Item) -> None:
        """Append it as soon as there is room."""
        await self._queue.put(item)

    async def deliver(self, deliveries: Sequence[Delivery]) -> None:
        """Parse what arrived and hand it to the writer, waiting where that one is behind."""
        await self.look_at_clock()
        now_unix_s = self._clock.now()
        for delivery in deliveries:
            if not self._is_news(delivery):
                delivery.acknowledge()
                continue
            message = Message(self._read(delivery, now_unix_s), delivery)
            if self._queue.full():
                await self._queue.put(message)
            else:
                self._queue.put_nowait(message)

    def _is_news(self, delivery: Delivery) -> bool:
        """Whether it is to be stored; what else it tells is heard."""
        if is_reading_topic(self._terminal, delivery.topic):
            if delivery.retained:
                self._hearing.kept(delivery.topic)
            return not delivery.retained
        other = owner_in_status(delivery.payload)
        if other is not None and other != self.owner and not delivery.retained and not has_ended_here(other):
            self._hearing.second(other)
        return False

    def _read(self, delivery: Delivery, now_unix_s: float) -> Arrival | Refusal:
        kind = delivery.topic.rpartition("/")[2]
        try:
            reading = parse(kind, delivery.payload)
        except PayloadError as error:
            self._hearing.refused(delivery.topic, str(error))
            return Refusal(delivery.topic, delivery.payload, str(error), now_unix_s)
        if isinstance(reading, Note):
            reading = named(reading, delivery.payload)
        return Arrival(delivery.topic, delivery.payload, kind, reading, now_unix_s)

    async def look_at_clock(self) -> None:
        """A correction of the computer's clock is a reading among the others."""
        change = self._clock.look(time.time())
        if change is not None:
            await self._queue.put(self.own(change))

    def own(self, change: ClockChange) -> Message:
        """What the agent tells itself goes the way of all readings."""
        if change.stepped_s:
            LOG.warning("%s", change_in_words(change))
        kind = kind_of(change)
        topic, payload = reading_topic(self._terminal, kind), to_message(change)
        content = Arrival(topic, payload, kind, change, self._clock.now())
        return Message(content, Delivery(topic, payload, lambda: None))

    async def next_group(self) -> tuple[list[Message], Item]:
        """Everything that waits, up to a limit or to the first item that is no message, which comes last."""
        messages: list[Message] = []
        item = await self._queue.get()
        while isinstance(item, Message):
            messages.append(item)
            if len(messages) == GROUP_LENGTH or self._queue.empty():
                break
            item = self._queue.get_nowait()
        return messages, item
