"""Who publishes under a name that may have meant this terminal.

A device that was set to `van1` instead of `van-1` is not heard, and nothing else would say why.
"""

import asyncio
import difflib
import logging
import re
from collections.abc import Callable
from functools import partial

import aiomqtt

from agent.config import BrokerSettings
from agent.inputs.messages import STATUS, reading_topic
from agent.inputs.mqtt import publishing_client
from agent.records import KINDS

LOG = logging.getLogger(__name__)

TIMEOUT_S = 10.0
# All readings come twice meanwhile: a broker that is busier than fifty messages a second is left alone, and
# asked again later.
WINDOW_S = 60.0
MOST_IN_WINDOW = 3000
REST_S = 600.0
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


async def overhear(
    broker: BrokerSettings,
    terminal: str,
    on_slip: Callable[[str], None],
    most: int = MOST_IN_WINDOW,
    rest_s: float = REST_S,
) -> None:
    """Until cancelled: listen to all terminals; `on_slip` hears each likely slip once.

    A name under which an agent has told its state is a terminal of its own. After `most` messages within a
    minute it rests for `rest_s`, after a broken connection for as long as one may take.
    """
    known = {terminal}
    while True:
        pause_s = rest_s
        try:
            async with publishing_client(broker, TIMEOUT_S) as client:
                await _listen(client, known, partial(_heard, terminal, on_slip), most)
        except aiomqtt.MqttError as error:
            LOG.debug("the names of other terminals: %s", error)
            pause_s = min(rest_s, TIMEOUT_S)
        await asyncio.sleep(pause_s)


def _heard(terminal: str, on_slip: Callable[[str], None], name: str) -> None:
    if near_miss(name, terminal):
        on_slip(name)


async def _listen(client: aiomqtt.Client, known: set[str], on_name: Callable[[str], None], most: int) -> None:
    """Return when the broker is too busy for this."""
    await client.subscribe(reading_topic("+", "+"), qos=0)
    now_s = asyncio.get_running_loop().time
    # The states that the broker keeps come first.
    settled_s = now_s() + SETTLE_S
    window_s, count = settled_s, 0
    async for message in client.messages:
        if now_s() >= window_s + WINDOW_S:
            window_s, count = now_s(), 0
        # However busy the broker, it is listened to for a moment after the states.
        count += now_s() >= settled_s
        _, name, kind = str(message.topic).split("/")
        if kind == STATUS:
            known.add(name)
        elif name not in known and now_s() >= settled_s and kind in KINDS:
            known.add(name)
            on_name(name)
        if count >= most:
            return
