"""The live agent's tasks: subscriber, writer with the engine, ticker, status, and perhaps the broker."""

import asyncio
import logging
import time
from collections.abc import AsyncIterator, Callable, Coroutine, Mapping, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict, dataclass
from functools import partial
from math import isfinite

import aiomqtt

from agent.clock import Clock
from agent.config import Config
from agent.errors import UsageError
from agent.inputs.broker.serving import Broker, embedded_broker
from agent.inputs.collectors.running import Inputs
from agent.inputs.messages import (
    alert_message,
    alert_topic,
    is_for_agent,
    reading_topic,
    status_message,
    status_topic,
)
from agent.inputs.mqtt import Link, Outbox, stay_connected
from agent.inputs.neighbours import overhear
from agent.inputs.retained_alerts import retained_alerts
from agent.link_plan import LinkPlan
from agent.records import AlertEvent, JsonValue
from agent.service.forwarding import forwarder_of
from agent.service.hearing import Hearing
from agent.service.intake import Intake, Message, Stop, Tick, Word
from agent.service.keeping import GivenUpError, Keeper, Kept
from agent.service.outlets import Notifier, reminders_of
from agent.service.pipeline import Pipeline, start_pipeline
from agent.service.plan_of_day import PlanOfDay
from agent.service.status_file import write_status
from agent.store.shown import shown_events, shown_situation
from agent.store.writer import StoreWriter
from agent.watch.rule_set import RuleSet

LOG = logging.getLogger(__name__)

# Messages in flight are not overtaken by the clock: so long, in real time, may they take.
SETTLE_S = 2.0
TICK_S = 1.0
# After a restart the engine's time stands still until what waited in the broker is here, or so long.
CATCH_UP_S = 15.0
SNAPSHOT_S = 60.0
STATUS_S = 30.0
MOMENT_S = 0.2
FAREWELL_S = 2.0

# What else runs in the agent's task group, by name, until the agent stops.
Companions = Mapping[str, Callable[[], Coroutine[None, None, None]]]


@dataclass(frozen=True, slots=True)
class Agent:
    """What one agent runs with. `on_events` hears events once stored; `inputs` run as a companion.

    `plan_at` gives the plan for another day, and blocks meanwhile; None: `plan` is for all days.
    """

    config: Config
    plan: LinkPlan
    rules: RuleSet
    clock: Clock
    on_events: Callable[[Sequence[AlertEvent]], None]
    inputs: Inputs | None = None
    plan_at: Callable[[float], LinkPlan] | None = None
    notifier: Notifier | None = None


async def run_agent(agent: Agent, stop: asyncio.Event, companions: Companions) -> None:
    """Run until `stop`, with the companions beside it; raises UsageError for what the user can mend."""
    try:
        live = _Live(agent, stop)
        with suppress(GivenUpError):
            async with live.store(), _own_broker(agent.config) as own_broker:
                await live.run(own_broker, companions)
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
async def _own_broker(config: Config) -> AsyncIterator[Broker | None]:
    """None where the config names another one."""
    if not config.broker.embedded:
        yield None
        return
    async with embedded_broker(config.broker, partial(is_for_agent, config.job.terminal)) as broker:
        yield broker


class _Live:
    """The tasks and what they share."""

    def __init__(self, agent: Agent, stop: asyncio.Event) -> None:
        self._agent = agent
        self._clock = agent.clock
        self._terminal = agent.config.job.terminal
        self._stop = stop
        self._outbox = Outbox()
        self._connected = asyncio.Event()
        self._changed = asyncio.Event() if agent.inputs is None else agent.inputs.changed
        self._hearing = Hearing(agent.config, self._clock.shown, self._on_hearing)
        self._intake = Intake(self._terminal, self._clock, self._hearing)
        self._reminders = reminders_of(agent.config.notify, agent.clock.speed)
        self._plan_of_day = self._following(agent)
        self._keeper = Keeper(_kept(agent), stop, self._notify, self._on_trouble)
        self._forwarder = forwarder_of(agent.config, self._keeper, self._clock.shown, self._changed.set)

    @asynccontextmanager
    async def store(self) -> AsyncIterator[None]:
        """The store is open meanwhile."""
        try:
            await self._keeper.open()
            self._keeper.pipeline.seen_through(self._hearing.heard_through)
            yield
        finally:
            await self._keeper.close()

    async def run(self, own_broker: Broker | None, companions: Companions) -> None:
        """Start the tasks, and end them in an order that loses nothing."""
        await self._begin()
        async with asyncio.TaskGroup() as group:
            link = group.create_task(self._listen(own_broker), name="subscriber")
            writer = group.create_task(self._write(), name="writer")
            others = [
                group.create_task(self._tick(), name="ticker"),
                group.create_task(self._report(), name="status"),
                group.create_task(self._overhear(), name="other terminals"),
                group.create_task(self._keeper.check_whole(), name="check of the store"),
                group.create_task(self._keeper.watch_file(), name="file"),
                group.create_task(self._keeper.watch_room(), name="room"),
                group.create_task(self._remember(own_broker), name="alerts at the broker"),
                *(group.create_task(one.run(), name="plan") for one in self._plan_of_day),
                *(group.create_task(companion(), name=name) for name, companion in companions.items()),
                *(group.create_task(one.run(), name="home") for one in (self._forwarder,) if one is not None),
            ]
            await self._stop.wait()
            for task in others:
                task.cancel()
            # Where the disk takes nothing the writer ends by itself, and the queue may be full.
            last = group.create_task(self._intake.put(Stop()), name="last word")
            await writer
            last.cancel()
            self._say_status(
                status_message(self._clock.shown(), "offline", {}, agent=asdict(self._intake.owner))
            )
            with suppress(TimeoutError):
                async with asyncio.timeout(FAREWELL_S):
                    await self._outbox.emptied()
            link.cancel()

    async def _begin(self) -> None:
        """Where the last run ended, and what has become of the computer's clock since."""
        self._say(await self._keeper.catch_up())
        stamper = self._keeper.pipeline.stamper
        stamper.hold_s *= self._clock.speed
        if isfinite(stamper.latest_unix_s):
            change = self._clock.go_on(stamper.latest_unix_s, stamper.offset_s, time.time())
            if change is not None:
                await self._take([self._intake.own(change)])

    def _following(self, agent: Agent) -> list[PlanOfDay]:
        """Nobody where the plan is for all days."""
        if agent.plan_at is None:
            return []

        async def take(plan: LinkPlan) -> None:
            call = partial(Pipeline.follow, job=agent.config.job, plan=plan, rules=agent.rules)
            await self._intake.put(Word(call))

        return [PlanOfDay(self._clock, agent.plan, agent.plan_at, take, self._changed.set)]

    async def _remember(self, own_broker: Broker | None) -> None:
        """Where the store has lost what stood, a broker that outlives the agent may know it."""
        if own_broker is not None or not self._keeper.pipeline.forgot:
            return
        await self._connected.wait()
        try:
            alerts = await retained_alerts(self._agent.config.broker, self._terminal)
        except aiomqtt.MqttError as error:
            LOG.warning("which alerts stood is not known: %s", error)
            return
        await self._intake.put(Word(partial(Pipeline.remember, alerts=alerts)))

    async def _listen(self, own_broker: Broker | None) -> None:
        if own_broker is None:
            await stay_connected(self._link(), self._intake.deliver, self._outbox, self._on_link)
        else:
            await own_broker.serve_agent(self._intake.deliver, self._outbox, self._on_link)

    def _link(self) -> Link:
        # A will cannot know when it is read: its time is that of the connection.
        will = status_message(self._clock.shown(), "lost", {})
        return Link(
            broker=self._agent.config.broker,
            client_id=client_id(self._terminal),
            topic=reading_topic(self._terminal, "+"),
            will=aiomqtt.Will(status_topic(self._terminal), will, qos=1, retain=True),
            on_rival=self._hearing.rival,
        )

    def _on_link(self, stands: bool) -> None:
        self._hearing.link(stands)
        if stands:
            self._keeper.pipeline.stamper.link_found(self._clock.now())
            self._changed.set()
            self._connected.set()
        else:
            self._keeper.pipeline.stamper.link_lost(self._clock.now())

    async def _write(self) -> None:
        with suppress(GivenUpError):
            await self._write_on()

    async def _write_on(self) -> None:
        """Store what waits, acknowledge it, feed the engine, and publish what it says.

        While one group is on its way to the disk the next one gathers, so that the groups are as small as the
        disk allows and nothing waits for a timer.
        """
        saved_s = time.monotonic()
        while True:
            messages, last = await self._intake.next_group()
            if messages:
                await self._take(messages)
            if isinstance(last, Tick):
                self._say(await self._keeper.run(partial(_ticked, unix_s=last.unix_s)))
                self._say(self._reminders.due(self._keeper.pipeline.situation().alerts, last.unix_s))
            if isinstance(last, Word):
                await self._keeper.run(last.call)
            stopping = isinstance(last, Stop)
            if stopping or time.monotonic() - saved_s >= SNAPSHOT_S:
                await self._keeper.run(Pipeline.save_snapshot)
                saved_s = time.monotonic()
            if stopping:
                return

    async def _take(self, messages: Sequence[Message]) -> None:
        contents = [one.content for one in messages]
        new = await self._keeper.run(lambda one: one.add(contents))
        for one in messages:
            one.delivery.acknowledge()
        if self._keeper.pipeline.judge(new):
            self._say(await self._keeper.run(lambda one: one.keep(time.time())))

    def _notify(self, event: AlertEvent) -> None:
        """What the agent has to say of itself reaches people as alerts do."""
        self._tell_people([event])

    def _tell_people(self, events: Sequence[AlertEvent]) -> None:
        self._agent.on_events(events)
        if self._agent.notifier is not None:
            self._agent.notifier.hear(events)

    def _say(self, engine_events: Sequence[AlertEvent]) -> None:
        shown = shown_events(engine_events, self._clock.offset_s)
        events = [self._hearing.told(event) for event in shown]
        for event in events:
            self._outbox.put(alert_topic(self._terminal, event.rule), alert_message(event))
        if events:
            self._tell_people(events)

    def _on_trouble(self) -> None:
        """Said at once: what else says it waits for the disk."""
        if self._keeper.is_open:
            self._say_status(self._online())
        self._changed.set()

    def _on_hearing(self) -> None:
        if self._keeper.is_open:
            self._keeper.pipeline.seen_through(self._hearing.heard_through)
        self._changed.set()

    def _online(self) -> bytes:
        seen = shown_situation(self._keeper.pipeline.situation(), self._clock.offset_s).last_seen_unix_s
        return status_message(self._clock.shown(), "online", seen, self._states(), asdict(self._intake.owner))

    def _say_status(self, message: bytes) -> None:
        """To the broker, and into a file beside the store for whom the broker does not reach."""
        self._outbox.put(status_topic(self._terminal), message)
        write_status(self._agent.config.store.path, message)

    def _states(self) -> list[JsonValue]:
        """What is wrong with what comes in, and how the inputs and the ways out of alerts fare."""
        tasks = (
            self._keeper, self._hearing, *self._plan_of_day, self._forwarder, self._agent.inputs,
            self._agent.notifier,
        )  # fmt: skip
        return [one for task in tasks if task is not None for one in task.as_json()]

    async def _overhear(self) -> None:
        await overhear(self._agent.config.broker, self._terminal, self._hearing.slip)

    async def _tick(self) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(CATCH_UP_S):
                await self._connected.wait()
        await asyncio.sleep(SETTLE_S)
        while True:
            await self._intake.look_at_clock()
            await self._intake.put(Tick(self._clock.now() - SETTLE_S * self._clock.speed))
            await asyncio.sleep(TICK_S)

    async def _report(self) -> None:
        with suppress(GivenUpError):
            while True:
                states = self._states()
                await self._keeper.run(partial(Pipeline.save_inputs, states=states))
                self._say_status(self._online())
                with suppress(TimeoutError):
                    async with asyncio.timeout(STATUS_S):
                        await self._changed.wait()
                # Changes within a moment are one.
                await asyncio.sleep(MOMENT_S)
                self._changed.clear()


def _kept(agent: Agent) -> Kept:
    config, job = agent.config, agent.config.job
    # A played day runs faster than messages travel.
    tolerance_s = config.clock_tolerance_s * agent.clock.speed

    def opened() -> StoreWriter:
        return StoreWriter.open(config.store.path, job.terminal, time.time(), config.store.keep_raw_days)

    return Kept(
        path=config.store.path,
        terminal=job.terminal,
        start=lambda left: start_pipeline(opened(), job, agent.plan, agent.rules, tolerance_s, left),
        move=lambda pipeline: pipeline.move_to(opened(), job),
        reopen=lambda pipeline: pipeline.reopen(opened()),
        now=agent.clock.shown,
    )


def _ticked(pipeline: Pipeline, unix_s: float) -> list[AlertEvent]:
    return pipeline.tick(unix_s, time.time())
