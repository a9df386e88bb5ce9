"""What every collector has in common: one task each, its state, its retries, and one way to the broker.

A collector is a stream of `Collected`, each with readings of one moment. The stream raises where its
counterpart fails, and the frame starts it anew after a while; what one collector does delays no other.
"""

import asyncio
import logging
import threading
from collections.abc import AsyncGenerator, Awaitable, Callable, Mapping, Sequence
from concurrent.futures import Future
from contextlib import aclosing
from dataclasses import dataclass
from typing import Literal, TypeVar

from agent.inputs.messages import encoded, reading_topic, rfc3339
from agent.inputs.mqtt import retry_delay_s
from agent.inputs.payloads import TIME, PayloadError, reading_of
from agent.records import JsonValue

LOG = logging.getLogger(__name__)

LONGEST_ERROR = 300
ResultT = TypeVar("ResultT")


class CollectorError(Exception):
    """A counterpart that fails; the text says what, got, expected. The frame adds where and what to do."""


# What a counterpart may do to a collector; a time-out is an OSError. Anything else is a bug: the agent ends.
EXPECTED = (CollectorError, OSError)


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading to publish: the fields of its kind, and its own time where the equipment tells it."""

    kind: str
    fields: Mapping[str, JsonValue]
    unix_s: float | None = None


@dataclass(frozen=True, slots=True)
class Collected:
    """What came at one moment.

    `finding`: the input works, but what it says wants mending. `error`: it does not work, but its connection
    stands. `remark` is for whoever tries the input by hand.
    """

    samples: Sequence[Sample]
    finding: str | None = None
    error: str | None = None
    remark: str | None = None


Stream = Callable[[], AsyncGenerator[Collected, None]]


@dataclass(frozen=True, slots=True, kw_only=True)
class RateTest:
    """What an input that tests the rate asks of the link: so many megabytes each time, from this server."""

    host: str
    port: int
    most_mb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Collector:
    """One input. `place` is where it reads (host, file); `advice` what to do where that fails.

    `first_within_s` is how long its first readings may take. After a failure it rests for `least_retry_s` or
    longer. `at_broker`: it reads from the agent's own broker, which may run only with the agent.
    """

    name: str
    place: str
    advice: str
    stream: Stream
    first_within_s: float
    least_retry_s: float = 0.0
    at_broker: bool = False
    rate_test: RateTest | None = None


@dataclass(slots=True)
class InputState:
    """How an input fares; a change is logged once, and `on_change` hears of it."""

    name: str
    since_unix_s: float
    state: Literal["starting", "ok", "failing"] = "starting"
    readings: int = 0
    failures: int = 0
    error: str | None = None
    finding: str | None = None
    on_change: Callable[[], None] | None = None

    def worked(self, count: int, finding: str | None, unix_s: float) -> None:
        """So many readings came."""
        self.readings += count
        changed = self.state != "ok" or (finding is None) != (self.finding is None)
        if self.state != "ok":
            LOG.info("input %s: works", self.name)
            self.state, self.since_unix_s, self.error = "ok", unix_s, None
        if finding is not None and self.finding is None:
            LOG.warning("input %s: %s", self.name, finding)
        self.finding = finding
        self._tell(changed)

    def failed(self, error: str, unix_s: float) -> None:
        """Nothing came, or nothing that could be used."""
        self.failures += 1
        self.error = error[:LONGEST_ERROR]
        changed = self.state != "failing"
        if changed:
            LOG.warning("input %s: %s", self.name, self.error)
            self.state, self.since_unix_s = "failing", unix_s
        self._tell(changed)

    def _tell(self, changed: bool) -> None:
        if changed and self.on_change is not None:
            self.on_change()

    def as_json(self) -> dict[str, JsonValue]:
        """For the status message."""
        return {
            "name": self.name,
            "state": self.state,
            "since": rfc3339(self.since_unix_s),
            "readings": self.readings,
            "failures": self.failures,
            "error": self.error,
            "finding": self.finding,
        }


@dataclass(frozen=True, slots=True)
class Outlet:
    """Where readings go: `put(topic, payload)` never waits. `now` is the agent's time, Unix seconds."""

    terminal: str
    put: Callable[[str, bytes], None]
    now: Callable[[], float]


async def keep_collecting(collector: Collector, state: InputState, outlet: Outlet) -> None:
    """Run one collector until cancelled."""
    failures = 0
    while True:
        try:
            async with aclosing(collector.stream()) as stream:
                async for found in stream:
                    failures = 0
                    take(found, collector, state, outlet)
            raise CollectorError("it has ended by itself")
        except EXPECTED as error:
            state.failed(failure_text(collector, error), outlet.now())
            await asyncio.sleep(max(collector.least_retry_s, retry_delay_s(failures)))
            failures += 1


def take(found: Collected, collector: Collector, state: InputState, outlet: Outlet) -> None:
    """Publish what can be a reading; what cannot is the collector's failure."""
    now_unix_s = outlet.now()
    sound, error = checked(found, now_unix_s)
    for kind, message in sound:
        outlet.put(reading_topic(outlet.terminal, kind), encoded(message))
    if error is None:
        state.worked(len(sound), found.finding, now_unix_s)
    else:
        state.readings += len(sound)
        state.failed(f"{collector.place}: {error}; {collector.advice}", now_unix_s)


def checked(
    found: Collected, now_unix_s: float
) -> tuple[list[tuple[str, Mapping[str, JsonValue]]], str | None]:
    """Kind and message of every sample that is a reading, and what is wrong with the first that is none."""
    sound: list[tuple[str, Mapping[str, JsonValue]]] = []
    first_error = found.error
    for sample in found.samples:
        message = {TIME: now_unix_s if sample.unix_s is None else sample.unix_s, **sample.fields}
        try:
            reading_of(sample.kind, message)
        except PayloadError as error:
            first_error = first_error or str(error)
        else:
            sound.append((sample.kind, message))
    return sound, first_error


def failure_text(collector: Collector, error: Exception) -> str:
    """What, where and what to do."""
    what = str(error)
    if isinstance(error, TimeoutError) and not what:
        what = "no answer in time"
    elif isinstance(error, OSError) and error.strerror:
        what = error.strerror
    return f"{collector.place}: {what or type(error).__name__}; {collector.advice}"


async def first_collected(collector: Collector) -> Collected:
    """What an input says when it is tried once; raises one of EXPECTED."""
    async with aclosing(collector.stream()) as stream:
        try:
            async with asyncio.timeout(collector.first_within_s):
                return await anext(stream)
        except StopAsyncIteration:
            raise CollectorError("it has ended by itself") from None


def polled(collect: Callable[[], Awaitable[Collected]], every_s: float, timeout_s: float) -> Stream:
    """The stream of something that is asked every so often, and may take so long to answer."""

    async def stream() -> AsyncGenerator[Collected, None]:
        loop = asyncio.get_running_loop()
        due_s = loop.time()
        while True:
            async with asyncio.timeout(timeout_s):
                found = await collect()
            yield found
            due_s = max(due_s + every_s, loop.time())
            await asyncio.sleep(due_s - loop.time())

    return stream


class OwnThread:
    """Runs one blocking call at a time, in a thread that nobody else waits for, nor the program's end."""

    def __init__(self) -> None:
        self._last: Future[object] | None = None

    @property
    def hangs(self) -> bool:
        """Whether the last call has not come back."""
        return self._last is not None and not self._last.done()

    async def run(self, call: Callable[[], ResultT]) -> ResultT:
        """The result of `call`; raises CollectorError while an earlier call hangs."""
        if self.hangs:
            raise CollectorError("an earlier read still hangs")
        future: Future[ResultT] = Future()
        # From here on it cannot be cancelled: only the task that waits for it can.
        future.set_running_or_notify_cancel()
        self._last = future  # type: ignore[assignment]
        threading.Thread(target=_settle, args=(future, call), daemon=True).start()
        return await asyncio.wrap_future(future)


def _settle(future: Future[ResultT], call: Callable[[], ResultT]) -> None:
    try:
        future.set_result(call())
    except BaseException as error:  # noqa: B036 - it is raised again in the task that waits
        future.set_exception(error)
