"""Who publishes under a name that may have meant this terminal.

A device that was set to `van1` instead of `van-1` is not heard, and nothing else would say why.
"""

import asyncio
import difflib
import logging
import re
from collections.abc import Callable

import aiomqtt

from agent.config import BrokerSettings
from agent.inputs.messages import STATUS, reading_topic
from agent.inputs.mqtt import publishing_client
from agent.records import KINDS

LOG = logging.getLogger(__name__)

TIMEOUT_S = 10.0
# Long enough for a device that publishes once a minute; then a rest, since all readings come twice meanwhile.
LISTEN_S = 75.0
REST_S = 600.0
# A busy broker is left alone sooner.
ENOUGH_MESSAGES = 300
ALIKE = 0.75
SETTLE_S = 1.0


def near_miss(name: str, terminal: str) -> bool:
    """Whether `name` may be a slip for `terminal`: the same digits, and the same or nearly the same letters.

    Terminals that are numbered through are not slips for each other.
    """
    if name == terminal or _digits(name) != _digits(terminal):
        return False
    own, other = (re.sub(r"[\W\d_]", "", one.casefold()) for one in (terminal, name))
    return sorted(own) == sorted(other) or difflib.SequenceMatcher(None, own, other).ratio() >= ALIKE


def _digits(name: str) -> list[int]:
    return [int(one) for one in re.findall(r"[0-9]+", name)]


async def overhear(broker: BrokerSettings, terminal: str, on_slip: Callable[[str], None]) -> None:
    """Until cancelled: listen to all terminals now and then; `on_slip` hears each likely slip once.

    A name under which an agent has told its state is a terminal of its own.
    """
    known = {terminal}
    while True:
        try:
            async with asyncio.timeout(LISTEN_S), publishing_client(broker, TIMEOUT_S) as client:
                await _listen(client, terminal, known, on_slip)
        except (TimeoutError, aiomqtt.MqttError) as error:
            LOG.debug("the names of other terminals: %s", error)
        await asyncio.sleep(REST_S)


async def _listen(
    client: aiomqtt.Client, terminal: str, known: set[str], on_slip: Callable[[str], None]
) -> None:
    await client.subscribe(reading_topic("+", "+"), qos=0)
    # The states that the broker keeps come first.
    settled_s = asyncio.get_running_loop().time() + SETTLE_S
    count = 0
    async for message in client.messages:
        count += 1
        _, name, kind = str(message.topic).split("/")
        if kind == STATUS:
            known.add(name)
        elif name not in known and asyncio.get_running_loop().time() >= settled_s and kind in KINDS:
            known.add(name)
            if near_miss(name, terminal):
                on_slip(name)
        if count >= ENOUGH_MESSAGES:
            return
