"""The live agent's tasks: subscriber, writer with the engine, ticker, status, and perhaps the broker.

Between subscriber and writer is one bounded queue. Where it is full the subscriber waits, and what it has not
taken stays unacknowledged in the broker.
"""

import asyncio
import logging
import sqlite3
import time
from collections.abc import AsyncIterator, Callable, Coroutine, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from functools import partial
from math import isfinite
from typing import TypeVar

import aiomqtt

from agent.clock import Clock
from agent.config import Config
from agent.errors import UsageError
from agent.inputs.broker.serving import Broker, embedded_broker
from agent.inputs.collectors.running import Inputs
from agent.inputs.messages import (
    alert_message,
    alert_topic,
    is_reading_topic,
    kind_of,
    reading_topic,
    status_message,
    status_topic,
    to_message,
)
from agent.inputs.mqtt import Delivery, Link, Outbox, stay_connected
from agent.inputs.neighbours import overhear
from agent.inputs.payloads import PayloadError, parse
from agent.link_plan import LinkPlan
from agent.records import AlertEvent, ClockChange, JsonValue
from agent.service.hearing import Hearing
from agent.service.outlets import Notifier
from agent.service.pipeline import Pipeline, start_pipeline
from agent.service.status_file import write_status
from agent.store.opening import StoreError, primary_code
from agent.store.shown import shown_events, shown_situation
from agent.store.writer import Arrival, Refusal, StoreWriter
from agent.watch.rule_set import RuleSet

LOG = logging.getLogger(__name__)

QUEUE_LENGTH = 2000
# Messages of one transaction: enough to share the wait for the disk, few enough to stay quick.
GROUP_LENGTH = 500
# Messages in flight are not overtaken by the clock: so long, in real time, may they take.
SETTLE_S = 2.0
TICK_S = 1.0
# After a restart the engine's time stands still until what waited in the broker is here, or so long.
CATCH_UP_S = 15.0
SNAPSHOT_S = 60.0
STATUS_S = 30.0
MOMENT_S = 0.2
DISK_FULL_RETRY_S = 5.0
FAREWELL_S = 2.0

ResultT = TypeVar("ResultT")
# What else runs in the agent's task group, by name, until the agent stops.
Companions = Mapping[str, Callable[[], Coroutine[None, None, None]]]


@dataclass(frozen=True, slots=True)
class Agent:
    """What one agent runs with. `on_events` hears events once stored; `inputs` run as a companion."""

    config: Config
    plan: LinkPlan
    rules: RuleSet
    clock: Clock
    on_events: Callable[[Sequence[AlertEvent]], None]
    inputs: Inputs | None = None
    notifier: Notifier | None = None


@dataclass(slots=True)
class _Message:
    content: Arrival | Refusal
    delivery: Delivery


@dataclass(frozen=True, slots=True)
class _Tick:
    unix_s: float


@dataclass(frozen=True, slots=True)
class _Stop:
    pass


_Item = _Message | _Tick | _Stop


async def run_agent(agent: Agent, stop: asyncio.Event, companions: Companions) -> None:
    """Run until `stop`, with the companions beside it; raises UsageError for what the user can mend."""
    try:
        async with _pipeline(agent) as pipeline:
            async with _own_broker(agent.config) as own_broker:
                await _Live(agent, pipeline, own_broker).run(stop, companions)
    except BaseExceptionGroup as errors:
        mendable: BaseException | None = errors.subgroup(UsageError)
        if mendable is None:
            raise
        while isinstance(mendable, BaseExceptionGroup):
            mendable = mendable.exceptions[0]
        raise mendable from None


def client_id(terminal: str) -> str:
    """The broker keeps the agent's session by this name."""
    return f"peakshade-{terminal}"


@asynccontextmanager
async def _pipeline(agent: Agent) -> AsyncIterator[Pipeline]:
    def start() -> Pipeline:
        writer = StoreWriter.open(agent.config.store.path, agent.config.job.terminal, time.time())
        # A played day runs faster than messages travel.
        tolerance_s = agent.config.clock_tolerance_s * agent.clock.speed
        return start_pipeline(writer, agent.config.job, agent.plan, agent.rules, tolerance_s)

    pipeline = await asyncio.to_thread(start)
    try:
        yield pipeline
    finally:
        await asyncio.to_thread(pipeline.close)


@asynccontextmanager
async def _own_broker(config: Config) -> AsyncIterator[Broker | None]:
    """None where the config names another one."""
    if not config.broker.embedded:
        yield None
        return
    async with embedded_broker(config.broker, partial(is_reading_topic, config.job.terminal)) as broker:
        yield broker


class _Live:
    """The tasks and what they share."""

    def __init__(self, agent: Agent, pipeline: Pipeline, own_broker: Broker | None) -> None:
        self._agent = agent
        self._clock = agent.clock
        self._terminal = agent.config.job.terminal
        self._pipeline = pipeline
        self._own_broker = own_broker
        self._queue: asyncio.Queue[_Item] = asyncio.Queue(QUEUE_LENGTH)
        # Not the loop's own threads: name lookups of inputs may hang in all of those.
        self._disk = ThreadPoolExecutor(1, "disk")
        self._outbox = Outbox()
        self._connected = asyncio.Event()
        self._changed = asyncio.Event() if agent.inputs is None else agent.inputs.changed
        self._hearing = Hearing(agent.config, self._clock.shown, self._on_hearing)
        pipeline.seen_through(self._hearing.heard_through)

    async def run(self, stop: asyncio.Event, companions: Companions) -> None:
        """Work until `stop`; on return nothing of it uses the store any more."""
        try:
            await self._work(stop, companions)
        finally:
            # A cancelled call goes on in its thread, and the store that it uses is closed next.
            await asyncio.to_thread(self._disk.shutdown)

    async def _work(self, stop: asyncio.Event, companions: Companions) -> None:
        """Start the tasks, and end them in an order that loses nothing."""
        await self._begin()
        async with asyncio.TaskGroup() as group:
            link = group.create_task(self._listen(), name="subscriber")
            writer = group.create_task(self._write(), name="writer")
            others = [
                group.create_task(self._tick(), name="ticker"),
                group.create_task(self._report(), name="status"),
                group.create_task(self._overhear(), name="other terminals"),
                *(group.create_task(companion(), name=name) for name, companion in companions.items()),
            ]
            await stop.wait()
            for task in others:
                task.cancel()
            await self._queue.put(_Stop())
            await writer
            self._say_status(status_message(self._clock.shown(), "offline", {}))
            with suppress(TimeoutError):
                async with asyncio.timeout(FAREWELL_S):
                    await self._outbox.emptied()
            link.cancel()

    async def _begin(self) -> None:
        """Where the last run ended, and what has become of the computer's clock since."""
        self._say(await self._on_disk(partial(self._pipeline.catch_up, time.time())))
        stamper = self._pipeline.stamper
        if isfinite(stamper.latest_unix_s):
            change = self._clock.go_on(stamper.latest_unix_s, stamper.offset_s, time.time())
            if change is not None:
                await self._take([self._own(change)])

    def _own(self, change: ClockChange) -> _Message:
        """What the agent tells itself goes the way of all readings."""
        LOG.warning("%s", _words(change))
        kind = kind_of(change)
        topic, payload = reading_topic(self._terminal, kind), to_message(change)
        content = Arrival(topic, payload, kind, change, self._clock.now())
        return _Message(content, Delivery(topic, payload, lambda: None))

    async def _look_at_clock(self) -> None:
        change = self._clock.look(time.time())
        if change is not None:
            await self._queue.put(self._own(change))

    async def _listen(self) -> None:
        if self._own_broker is None:
            await stay_connected(self._link(), self._deliver, self._outbox, self._on_link)
        else:
            await self._own_broker.serve_agent(self._deliver, self._outbox, self._on_link)

    def _link(self) -> Link:
        # A will cannot know when it is read: its time is that of the connection.
        will = status_message(self._clock.shown(), "lost", {})
        return Link(
            broker=self._agent.config.broker,
            client_id=client_id(self._terminal),
            topic=reading_topic(self._terminal, "+"),
            will=aiomqtt.Will(status_topic(self._terminal), will, qos=1, retain=True),
        )

    def _on_link(self, stands: bool) -> None:
        self._hearing.link(stands)
        if stands:
            self._pipeline.stamper.link_found(self._clock.now())
            self._changed.set()
            self._connected.set()
        else:
            self._pipeline.stamper.link_lost(self._clock.now())

    async def _deliver(self, deliveries: Sequence[Delivery]) -> None:
        """Parse what arrived and hand it to the writer, waiting where that one is behind."""
        await self._look_at_clock()
        now_unix_s = self._clock.now()
        for delivery in deliveries:
            if not is_reading_topic(self._terminal, delivery.topic):
                delivery.acknowledge()
                continue
            if delivery.retained:
                self._hearing.kept(delivery.topic)
                delivery.acknowledge()
                continue
            message = _Message(self._read(delivery, now_unix_s), delivery)
            if self._queue.full():
                await self._queue.put(message)
            else:
                self._queue.put_nowait(message)

    def _read(self, delivery: Delivery, now_unix_s: float) -> Arrival | Refusal:
        kind = delivery.topic.rpartition("/")[2]
        try:
            reading = parse(kind, delivery.payload)
        except PayloadError as error:
            self._hearing.refused(delivery.topic, str(error))
            return Refusal(delivery.topic, delivery.payload, str(error), now_unix_s)
        return Arrival(delivery.topic, delivery.payload, kind, reading, now_unix_s)

    async def _write(self) -> None:
        """Store what waits, acknowledge it, feed the engine, and publish what it says.

        While one group is on its way to the disk the next one gathers, so that the groups are as small as the
        disk allows and nothing waits for a timer.
        """
        saved_s = time.monotonic()
        while True:
            messages, last = await self._next_group()
            if messages:
                await self._take(messages)
            if isinstance(last, _Tick):
                self._say(await self._on_disk(partial(self._pipeline.tick, last.unix_s, time.time())))
            stopping = isinstance(last, _Stop)
            if stopping or time.monotonic() - saved_s >= SNAPSHOT_S:
                await self._on_disk(self._pipeline.save_snapshot)
                saved_s = time.monotonic()
            if stopping:
                return

    async def _next_group(self) -> tuple[list[_Message], _Item]:
        """Everything that waits, up to a limit or to the first item that is no message, which comes last."""
        messages: list[_Message] = []
        item = await self._queue.get()
        while isinstance(item, _Message):
            messages.append(item)
            if len(messages) == GROUP_LENGTH or self._queue.empty():
                break
            item = self._queue.get_nowait()
        return messages, item

    async def _take(self, messages: Sequence[_Message]) -> None:
        new = await self._on_disk(partial(self._pipeline.add, [one.content for one in messages]))
        for one in messages:
            one.delivery.acknowledge()
        if self._pipeline.judge(new):
            self._say(await self._on_disk(partial(self._pipeline.keep, time.time())))

    async def _on_disk(self, call: Callable[[], ResultT]) -> ResultT:
        """Run in the disk's own thread; a full disk is waited for, while messages wait in the broker."""
        while True:
            try:
                return await asyncio.get_running_loop().run_in_executor(self._disk, call)
            except sqlite3.Error as error:
                path = self._agent.config.store.path
                if primary_code(error) != sqlite3.SQLITE_FULL:
                    raise StoreError(f"store {path}: cannot be written ({error}); check its disk") from error
                LOG.error("store %s: the disk is full; free some space; messages wait until then", path)
                await asyncio.sleep(DISK_FULL_RETRY_S)

    def _say(self, engine_events: Sequence[AlertEvent]) -> None:
        shown = shown_events(engine_events, self._clock.offset_s)
        events = [self._hearing.told(event) for event in shown]
        for event in events:
            self._outbox.put(alert_topic(self._terminal, event.rule), alert_message(event))
        if events:
            self._agent.on_events(events)
            if self._agent.notifier is not None:
                self._agent.notifier.hear(events)

    def _on_hearing(self) -> None:
        self._pipeline.seen_through(self._hearing.heard_through)
        self._changed.set()

    def _online(self) -> bytes:
        seen = shown_situation(self._pipeline.situation(), self._clock.offset_s).last_seen_unix_s
        return status_message(self._clock.shown(), "online", seen, self._states())

    def _say_status(self, message: bytes) -> None:
        """To the broker, and into a file beside the store for whom the broker does not reach."""
        self._outbox.put(status_topic(self._terminal), message)
        write_status(self._agent.config.store.path, message)

    def _states(self) -> list[JsonValue]:
        """What is wrong with what comes in, and how the inputs and the ways out of alerts fare."""
        tasks = (self._hearing, self._agent.inputs, self._agent.notifier)
        return [one for task in tasks if task is not None for one in task.as_json()]

    async def _overhear(self) -> None:
        await overhear(self._agent.config.broker, self._terminal, self._hearing.slip)

    async def _tick(self) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(CATCH_UP_S):
                await self._connected.wait()
        await asyncio.sleep(SETTLE_S)
        while True:
            await self._look_at_clock()
            await self._queue.put(_Tick(self._clock.now() - SETTLE_S * self._clock.speed))
            await asyncio.sleep(TICK_S)

    async def _report(self) -> None:
        while True:
            await self._on_disk(partial(self._pipeline.save_inputs, self._states()))
            self._say_status(self._online())
            with suppress(TimeoutError):
                async with asyncio.timeout(STATUS_S):
                    await self._changed.wait()
            # Changes within a moment are one.
            await asyncio.sleep(MOMENT_S)
            self._changed.clear()


def _words(change: ClockChange) -> str:
    if not change.stepped_s:
        return f"the agent was away: its time goes on {change.away_s / 60.0:.0f} min later"
    how = "forward" if change.stepped_s > 0.0 else "back"
    return f"this computer's clock was set {how} by {abs(change.stepped_s):.1f} s; the watch goes on"
