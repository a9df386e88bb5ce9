"""Sends home what the store holds: one batch at a time to the desk's broker, until the desk has it.

The desk answers with the digest of a batch once it has committed it, and only then the cursors move: what a
broker or a worker of the desk loses is sent again, and what came twice the desk knows by its key.
"""

import asyncio
import logging
import sqlite3
import time
from collections.abc import Callable, Sequence
from contextlib import closing, suppress
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from math import floor
from pathlib import Path

from agent.config import Config, ForwardSettings
from agent.forward.batch import packed, receipt
from agent.forward.outbox import (
    Cursors,
    Next,
    Room,
    asking,
    cursors_text,
    first_cursors,
    next_batch,
    saved_cursors,
)
from agent.inputs.collectors.frame import InputState
from agent.inputs.messages import HAVE, REFUSED, WANT, batch_topic, desk_topic
from agent.inputs.mqtt import Delivery, Link, Outbox, stay_connected
from agent.records import JsonValue
from agent.service.keeping import GivenUpError, Keeper
from agent.service.pipeline import Pipeline
from agent.store.opening import StoreError, open_for_reading

LOG = logging.getLogger(__name__)

LOOK_EVERY_S = 2.0
DUE_EVERY_S = 60.0
# A satellite's round trip, TLS and the desk's commit take three at most.
FIRST_WAIT_S = 10.0
LONGEST_WAIT_S = 300.0
# Every ping and its answer cost some 200 bytes; a broken line is missed by what is not answered.
KEEP_ALIVE_S = 120
# Counted on the wire (tests.bench.air): headers of TCP, IP and TLS around a message, its acknowledgements and
# the desk's receipt.
AROUND_BYTES = 630
DAY_S = 86_400.0
# Single readings may take this share of a day; the rest is for what always goes.
SINGLE_SHARE = 0.5
# Some seconds without the desk are nothing to tell the crew.
TELL_AFTER_S = 120.0
REMEMBERED = 8

UNCONFIRMED = "has confirmed nothing since {clock}; what it lacks waits in the store and goes later"


def forwarder_of(
    config: Config, keeper: Keeper, now: Callable[[], float], on_change: Callable[[], None]
) -> "Forwarder | None":
    """The task, where the config names a desk; `on_change` hears when the desk begins or ceases to answer."""
    if config.forward is None:
        return None
    return Forwarder((config.store.path, config.job.terminal), config.forward, keeper, now, on_change)


class _Budget:
    """What the day has cost so far; a day is one of UTC."""

    def __init__(self, day_bytes: float) -> None:
        self._most = day_bytes
        self._day = 0
        self.bytes = 0

    def of_today(self, cursors: Cursors) -> Cursors:
        """The cursors with the count; the first time it begins with the one that they have."""
        today = floor(time.time() / DAY_S)
        if self._day != today:
            self._day, self.bytes = today, cursors.day_bytes if cursors.day == today else 0
        return replace(cursors, day=today, day_bytes=self.bytes)

    def room(self) -> Room:
        """What may still be sent."""
        return Room(thinned=self.bytes < self._most, single=self.bytes < self._most * SINGLE_SHARE)


class Forwarder:
    """One task of the agent. All writing of the store goes through its keeper."""

    def __init__(
        self,
        kept: tuple[Path, str],
        settings: ForwardSettings,
        keeper: Keeper,
        now: Callable[[], float],
        on_change: Callable[[], None],
    ) -> None:
        """`kept`: the store's file and the terminal."""
        self._path, self._terminal = kept
        self._broker = settings.broker
        self._budget = _Budget(settings.day_mb * 1e6)
        self._keeper = keeper
        self._now = now
        name = f"desk {self._broker.host}:{self._broker.port}"
        self.state = InputState(name, now(), on_change=on_change)
        self._outbox = Outbox()
        self._connected = asyncio.Event()
        self._answered = asyncio.Event()
        self._awaited: dict[bytes, Next] = {}
        self._had: Next | None = None
        self._want: bytes | None = None
        self._due_s = 0.0
        self._wait_s = FIRST_WAIT_S
        self._confirmed_s = time.monotonic()
        self._confirmed_unix_s = now()

    def as_json(self) -> list[JsonValue]:
        """How the desk fares, where it does not answer."""
        return [self.state.as_json()] if self.state.state == "failing" else []

    @property
    def connected(self) -> bool:
        """Whether the line to the desk's broker stands."""
        return self._connected.is_set()

    async def run(self) -> None:
        """Until cancelled."""
        link = Link(
            broker=self._broker,
            client_id=f"peakshade-forward-{self._terminal}",
            topic=desk_topic(self._terminal, "+"),
            kept=False,
            retain=False,
            keep_alive_s=KEEP_ALIVE_S,
        )
        async with asyncio.TaskGroup() as group:
            connected = stay_connected(link, self._hear, self._outbox, self._on_link)
            group.create_task(connected, name="line to the desk")
            group.create_task(self._forward(), name="outbox")

    def _on_link(self, stands: bool) -> None:
        if stands:
            self._connected.set()
            self._hurry()
        else:
            self._connected.clear()

    def _hurry(self) -> None:
        """Whatever waits is sent now."""
        self._wait_s = FIRST_WAIT_S
        self._answered.set()

    async def _hear(self, deliveries: Sequence[Delivery]) -> None:
        for one in deliveries:
            one.acknowledge()
            word = one.topic.rpartition("/")[2]
            if word == WANT and one.payload:
                self._want, self._due_s = one.payload, 0.0
            elif word == REFUSED:
                self.state.failed(f"refuses: {one.payload.decode(errors='replace')}", self._now())
            elif word == HAVE and not one.payload:
                self._hurry()
            elif word == HAVE and one.payload in self._awaited:
                self._had = self._awaited[one.payload]
                self._hurry()

    async def _forward(self) -> None:
        with suppress(GivenUpError):
            while True:
                await self._connected.wait()
                self._answered.clear()
                found = await self._look()
                if found is not None:
                    self._send(found)
                await self._rest(LOOK_EVERY_S if found is None else self._wait_s)
                if self._had is not None:
                    await self._confirmed(self._had)
                elif found is not None:
                    self._wait_s = min(2.0 * self._wait_s, LONGEST_WAIT_S)
                    self._tell_silence()

    def _send(self, found: Next) -> None:
        payload = packed(found.batch)
        while len(self._awaited) >= REMEMBERED:
            del self._awaited[next(iter(self._awaited))]
        self._awaited[receipt(payload)] = found
        self._budget.bytes += len(payload) + AROUND_BYTES
        self._outbox.put(batch_topic(self._terminal), payload)

    async def _rest(self, longest_s: float) -> None:
        with suppress(TimeoutError):
            async with asyncio.timeout(longest_s):
                await self._answered.wait()

    async def _look(self) -> Next | None:
        """What is to be sent now."""
        due = time.monotonic() >= self._due_s
        try:
            cursors, found = await asyncio.to_thread(self._read, due)
        except (StoreError, sqlite3.Error) as error:
            LOG.warning("desk: the store cannot be read now: %s", error)
            return None
        if cursors is not None:
            body = cursors_text(cursors)
            await self._keeper.run(partial(Pipeline.begin_forwarding, base=cursors.base, body=body))
        if found is None and due:
            self._due_s = time.monotonic() + DUE_EVERY_S
        return found

    def _read(self, due: bool) -> tuple[Cursors | None, Next | None]:
        """The first cursors of a store that has none yet, or the next batch."""
        with closing(open_for_reading(self._path)) as connection:
            connection.execute("BEGIN")
            cursors = saved_cursors(connection, self._terminal)
            if cursors is None:
                return first_cursors(connection, self._terminal, time.time()), None
            cursors = self._budget.of_today(cursors)
            if self._want is not None:
                cursors = self._asking(connection, cursors, self._want)
            return None, next_batch(connection, self._terminal, cursors, due, self._budget.room())

    def _asking(self, connection: sqlite3.Connection, cursors: Cursors, want: bytes) -> Cursors:
        try:
            return asking(connection, self._terminal, cursors, want)
        except ValueError as error:
            LOG.warning("desk: asks for what cannot be read (%s)", error)
            self._want = None
            return cursors

    async def _confirmed(self, found: Next) -> None:
        """The desk has it: the next batch begins behind it."""
        self._awaited.clear()
        self._had = None
        after = self._budget.of_today(found.after)
        await self._keeper.run(partial(Pipeline.save_forwarded, base=after.base, body=cursors_text(after)))
        if found.due:
            self._due_s = 0.0 if found.more else time.monotonic() + DUE_EVERY_S
        self._confirmed_s, self._confirmed_unix_s = time.monotonic(), self._now()
        self.state.worked(0, None, self._now())

    def _tell_silence(self) -> None:
        if time.monotonic() - self._confirmed_s > TELL_AFTER_S:
            clock = f"{datetime.fromtimestamp(self._confirmed_unix_s, UTC):%H:%M} UTC"
            self.state.failed(UNCONFIRMED.format(clock=clock), self._now())
