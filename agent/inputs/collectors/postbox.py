"""Brings the collectors' readings to the broker, over one connection of their own."""

import asyncio
import logging
from collections import deque

import aiomqtt

from agent.config import BrokerSettings
from agent.inputs.mqtt import BROKER_DELAY_S, MAX_IN_FLIGHT, QOS, feeding_client, retry_delay_s

LOG = logging.getLogger(__name__)

# Half an hour of five readings a second, some 2 MB.
MAX_WAITING = 10_000


class Postbox:
    """Readings that wait for the broker; where too many wait the oldest go."""

    def __init__(self, broker: BrokerSettings) -> None:
        self._broker = broker
        self._waiting: deque[tuple[str, bytes]] = deque(maxlen=MAX_WAITING)
        self._filled = asyncio.Event()
        self.dropped = 0

    def put(self, topic: str, payload: bytes) -> None:
        """Publish this as soon as the broker can be reached."""
        if len(self._waiting) == MAX_WAITING:
            self._count_dropped()
        self._waiting.append((topic, payload))
        self._filled.set()

    async def deliver(self) -> None:
        """Run until cancelled."""
        failures = 0
        while True:
            try:
                async with feeding_client(self._broker) as client:
                    while True:
                        await self._send(client)
                        failures = 0
            except aiomqtt.MqttError as error:
                delay_s = retry_delay_s(failures, BROKER_DELAY_S)
                if failures == 0:
                    LOG.warning("readings of the inputs wait for the broker: %s", error)
                failures += 1
                await asyncio.sleep(delay_s)

    async def _send(self, client: aiomqtt.Client) -> None:
        await self._filled.wait()
        self._filled.clear()
        while self._waiting:
            group = [self._waiting.popleft() for _ in range(min(MAX_IN_FLIGHT, len(self._waiting)))]
            try:
                await asyncio.gather(*(client.publish(topic, payload, qos=QOS) for topic, payload in group))
            except aiomqtt.MqttError:
                self._put_back(group)
                raise

    def _put_back(self, group: list[tuple[str, bytes]]) -> None:
        """What the broker may have got already is recognised there and not stored twice."""
        room = MAX_WAITING - len(self._waiting)
        for _ in group[room:]:
            self._count_dropped()
        self._waiting.extendleft(reversed(group[max(0, len(group) - room) :]))
        self._filled.set()

    def _count_dropped(self) -> None:
        if self.dropped == 0:
            LOG.error("%d readings of the inputs wait for the broker; the oldest are dropped", MAX_WAITING)
        self.dropped += 1
