"""A site for tests: a store with its keeper and forwarder, and a line to the desk that can break."""

import asyncio
import itertools
import time
from collections.abc import AsyncIterator, Iterable, Sequence
from contextlib import asynccontextmanager, closing, suppress
from dataclasses import replace
from pathlib import Path

from agent.config import LOOPBACK, BrokerSettings, ForwardSettings
from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.records import AlertEvent, AnyReading, Note
from agent.service.forwarding import Forwarder
from agent.service.keeping import Keeper, Kept
from agent.service.pipeline import start_pipeline
from agent.store.opening import open_for_reading
from agent.store.reader import events, readings_after
from agent.store.writer import Arrival, Stored, StoreWriter
from agent.watch.rule_set import default_rules
from tests.live import sample_plan
from tests.plan.sample_job import job
from tests.processes import broker_at, free_port


class Line:
    """A stretch of network between a site and the desk's broker, which counts bytes and can be cut."""

    def __init__(self, port: int) -> None:
        self.port = free_port()
        self.bytes = 0
        self._beyond = port
        self._server: asyncio.Server | None = None
        self._open: set[asyncio.StreamWriter] = set()

    @asynccontextmanager
    async def laid(self) -> AsyncIterator["Line"]:
        """It carries meanwhile."""
        await self.mend()
        try:
            yield self
        finally:
            self.cut()

    def cut(self) -> None:
        """Nothing passes any more."""
        if self._server is not None:
            self._server.close()
        for one in self._open:
            one.close()

    async def mend(self) -> None:
        """From now on it carries."""
        self._server = await asyncio.start_server(self._carry, LOOPBACK, self.port)

    async def _carry(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            far_reader, far_writer = await asyncio.open_connection(LOOPBACK, self._beyond)
            ends = {writer, far_writer}
            self._open |= ends
            await asyncio.gather(self._pass(reader, far_writer), self._pass(far_reader, writer))
            self._open -= ends
        writer.close()

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with suppress(OSError):
            while data := await reader.read(65_536):
                self.bytes += len(data)
                writer.write(data)
                await writer.drain()
        writer.close()


class Site:
    """Writes what the test gives it, and forwards it."""

    def __init__(self, folder: Path, terminal: str, broker: BrokerSettings, day_mb: float = 50.0) -> None:
        self.path = folder / f"{terminal}.sqlite3"
        self.terminal = terminal
        self._told = itertools.count(1)
        self._stop = asyncio.Event()
        plan, rules, own_job = sample_plan(), default_rules(), replace(job(), terminal=terminal)

        def opened() -> StoreWriter:
            return StoreWriter.open(self.path, terminal, time.time())

        kept = Kept(
            path=self.path,
            terminal=terminal,
            start=lambda left: start_pipeline(opened(), own_job, plan, rules, 120.0, left),
            move=lambda pipeline: pipeline.move_to(opened(), own_job),
            reopen=lambda pipeline: pipeline.reopen(opened()),
            now=time.time,
        )
        self.keeper = Keeper(kept, self._stop, lambda _: None, lambda: None)
        settings = ForwardSettings(broker=broker, day_mb=day_mb)
        self.forwarder = Forwarder((self.path, terminal), settings, self.keeper, time.time, lambda: None)

    @asynccontextmanager
    async def working(self) -> AsyncIterator["Site"]:
        """Its forwarder runs meanwhile."""
        if not self.keeper.is_open:
            await self.keeper.open()
        task = asyncio.create_task(self.forwarder.run())
        try:
            yield self
        finally:
            task.cancel()
            await asyncio.gather(task, return_exceptions=True)
            await self.keeper.close()

    async def hear(self, readings: Sequence[AnyReading]) -> None:
        """Readings that came just now, and what the engine says to them."""
        arrivals = [
            Arrival(
                reading_topic(self.terminal, kind_of(one)), to_message(one), kind_of(one), one, one.unix_s
            )
            for one in readings
        ]
        new = await self.keeper.run(lambda pipeline: pipeline.add(arrivals))
        await self.keeper.run(lambda pipeline: pipeline.feed(new, time.time()))

    async def note(self) -> str:
        """The crew tells something now; its words."""
        text = f"{self.terminal} note {next(self._told)}"
        await self.hear([Note(unix_s=time.time(), kind="other", text=text)])
        return text

    def stored(self) -> tuple[list[Stored], list[AlertEvent]]:
        """All that its store holds now."""
        with closing(open_for_reading(self.path)) as connection:
            return list(readings_after(connection, self.terminal, 0)), events(connection, self.terminal)


def site_at(folder: Path, terminal: str, line: Line) -> Site:
    """The site at the end of this line."""
    return Site(folder, terminal, replace(broker_at(line.port), username=terminal))


def shifted(readings: Iterable[AnyReading], by_s: float) -> list[AnyReading]:
    """The same so much later."""
    return [replace(one, unix_s=one.unix_s + by_s) for one in readings]
