"""Publishes recorded readings over MQTT as their devices would have, when the clock reaches their time."""

import asyncio
from collections.abc import Sequence
from math import inf

from agent.clock import Clock
from agent.config import BrokerSettings
from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.inputs.mqtt import MAX_IN_FLIGHT, QOS, feeding_client
from agent.records import AnyReading


async def play(broker: BrokerSettings, terminal: str, readings: Sequence[AnyReading], clock: Clock) -> None:
    """Publish the readings, which stand in the order of time; returns when the broker has them all.

    The clock waits for the broker's answers.
    """
    async with feeding_client(broker) as client:
        done = 0
        while done < len(readings):
            clock.awaited_unix_s = readings[done].unix_s
            await asyncio.sleep(max(0.0, (readings[done].unix_s - clock.now()) / clock.speed))
            due = _due(readings[done : done + MAX_IN_FLIGHT], clock.now())
            # Started in their order, which the protocol keeps; only the answers are waited for together.
            await asyncio.gather(
                *(
                    client.publish(reading_topic(terminal, kind_of(one)), to_message(one), qos=QOS)
                    for one in due
                )
            )
            done += len(due)
    clock.awaited_unix_s = inf


def _due(readings: Sequence[AnyReading], now_unix_s: float) -> Sequence[AnyReading]:
    later = next((index for index, one in enumerate(readings) if one.unix_s > now_unix_s), len(readings))
    return readings[:later]
