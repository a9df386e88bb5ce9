"""Tries inputs once, for somebody who stands before the equipment."""

import asyncio
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from agent.inputs.collectors.frame import (
    EXPECTED,
    Collected,
    Collector,
    RateTest,
    checked,
    failure_text,
    first_collected,
)
from agent.inputs.payloads import TIME
from agent.records import JsonValue

# Nobody waits longer for one answer.
PATIENCE_S = 20.0


@dataclass(frozen=True, slots=True)
class Tried:
    """What an input said, or what to mend."""

    name: str
    fine: bool
    text: str


async def try_all(collectors: Sequence[Collector], rate_tests: bool = False) -> list[Tried]:
    """All at once, in their order; none takes longer than PATIENCE_S.

    Unless `rate_tests` are wanted, only the far ends of those are looked for: a test costs the link's data.
    """
    return await asyncio.gather(
        *(
            _try(one) if rate_tests or one.rate_test is None else _reach(one, one.rate_test)
            for one in collectors
        )
    )


async def _reach(collector: Collector, test: RateTest) -> Tried:
    """Whether the server of a test of the rate takes connections."""
    try:
        async with asyncio.timeout(PATIENCE_S):
            _, writer = await asyncio.open_connection(test.host, test.port)
    except OSError as error:
        return Tried(collector.name, False, failure_text(collector, error))
    writer.transport.abort()
    text = f"the server answers; each test takes up to {test.most_mb:g} MB, so none was run"
    return Tried(collector.name, True, text)


async def _try(collector: Collector) -> Tried:
    within_s = min(PATIENCE_S, collector.first_within_s)
    try:
        async with asyncio.timeout(within_s):
            found = await first_collected(collector)
    except TimeoutError:
        return Tried(
            collector.name, False, f"{collector.place}: nothing within {within_s:g} s; {collector.advice}"
        )
    except EXPECTED as error:
        return Tried(collector.name, False, failure_text(collector, error))
    return _told(collector, found)


def _told(collector: Collector, found: Collected) -> Tried:
    sound, error = checked(found, time.time())
    if error is not None:
        return Tried(collector.name, False, f"{collector.place}: {error}; {collector.advice}")
    if found.finding is not None:
        return Tried(collector.name, False, found.finding)
    readings = "; ".join(reading_text(kind, message) for kind, message in sound)
    return Tried(collector.name, True, ", ".join(part for part in (readings, found.remark) if part))


def reading_text(kind: str, message: Mapping[str, JsonValue]) -> str:
    """A reading on one line, without its time."""
    fields = (f"{name} = {value}" for name, value in message.items() if name != TIME)
    return f"{kind} {', '.join(fields)}"
