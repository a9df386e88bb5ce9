"""Faults done to a desk of three sites and two workers, and what they cost."""

import asyncio
import random
import subprocess
import sys
import time
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator, Mapping, Sequence
from contextlib import AsyncExitStack, asynccontextmanager, contextmanager
from dataclasses import dataclass
from pathlib import Path

import psutil

from agent.config_desk import DeskDatabase
from agent.forward.outbox import Hours, want_text
from agent.inputs.messages import WANT, desk_topic
from agent.inputs.mqtt import publishing_client
from agent.store.desk.opening import open_desk
from agent.store.opening import StoreError
from agent.store.reader import events, situations, stored_between
from agent.store.writer import Stored
from tests.desk.postgres import Postgres
from tests.desk.site import Line, Site, shifted, site_at
from tests.faults import Outcome
from tests.live import ROOT
from tests.processes import PATIENCE_S, Mosquitto
from tests.watch.sample_day import START_UNIX_S, full_day

TERMINALS = ("van-1", "van-2", "van-3")
READINGS = 800
EVER = (0.0, 4e9)


def desk_config(folder: Path, port: int, database: DeskDatabase) -> Path:
    """A desk's config file."""
    path = folder / "desk.toml"
    path.write_text(
        f'workers = 2\n[broker]\nhost = "127.0.0.1"\nport = {port}\n'
        f'[database]\nconnect = "{database.connect}"\n'
    )
    return path


@contextmanager
def desk_at_work(config: Path) -> Iterator[subprocess.Popen[bytes]]:
    """`peakshade desk` meanwhile."""
    command = [sys.executable, "-m", "agent", "desk", str(config), "--no-dashboard"]
    process = subprocess.Popen(command, cwd=ROOT)
    try:
        yield process
    finally:
        process.terminate()
        assert process.wait(PATIENCE_S) == 0


async def until(true: Callable[[], bool], what: str) -> float:
    """Wait for it; how long it took."""
    start_s = time.monotonic()
    while not await asyncio.to_thread(true):
        assert time.monotonic() - start_s < PATIENCE_S, what
        await asyncio.sleep(0.1)
    return time.monotonic() - start_s


class Desk:
    """What the database has."""

    def __init__(self, database: DeskDatabase) -> None:
        self._database = database

    def notes(self) -> set[str]:
        """Their texts; none where there are no tables yet."""
        try:
            with open_desk(self._database) as connection:
                return {text for (text,) in connection.execute("SELECT text FROM note")}
        except StoreError:
            return set()

    def rejected(self) -> tuple[str, str]:
        """Topic and reason of the latest that was refused."""
        with open_desk(self._database) as connection:
            topic, reason = connection.execute(
                "SELECT topic, reason FROM rejected ORDER BY id DESC LIMIT 1"
            ).fetchone()
            return topic, reason

    def readings(self, site: Site) -> list[Stored]:
        """In the order of the site."""
        with open_desk(self._database) as connection:
            return list(stored_between(connection, site.terminal, *EVER))

    def check(self, site: Site) -> None:
        """Every row that was forwarded is there, once, in the order of the site, and nothing else."""
        rows, said = site.stored()
        there = self.readings(site)
        assert [one.reading for one in there] == [row.reading for row in rows]
        base = there[0].seq - rows[0].seq
        assert [one.seq for one in there] == [base + row.seq for row in rows]
        with open_desk(self._database) as connection:
            assert events(connection, site.terminal) == said
            assert site.terminal in [one.terminal for one in situations(connection)]
            received = connection.execute(
                "SELECT received_unix_s FROM note WHERE terminal = ? ORDER BY unix_s, seq", (site.terminal,)
            ).fetchall()
            assert received == sorted(received, key=tuple)


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """Sites and a desk at work. Of every site notes are told; `wanted` are those that have to arrive."""

    config: Path
    process: subprocess.Popen[bytes]
    mosquitto: Mosquitto
    postgres: Postgres
    desk: Desk
    lines: Sequence[Line]
    sites: Sequence[Site]
    wanted: set[str]

    async def note(self) -> None:
        """Every crew tells something."""
        self.wanted.update([await site.note() for site in self.sites])

    async def tell(self) -> float:
        """It does, and all that was ever told arrives; how long that takes."""
        await self.note()
        return await until(lambda: self.wanted <= self.desk.notes(), "the notes arrive")

    async def ask_for_all(self) -> None:
        """For every reading there is: of the first terminal by the command, of the others as it does."""
        hours = ["--from", "2020-01-01T00:00:00Z", "--to", "2090-01-01T00:00:00Z"]
        command = [sys.executable, "-m", "agent", "desk", str(self.config), "--single", TERMINALS[0], *hours]
        await asyncio.to_thread(subprocess.run, command, cwd=ROOT, check=True)
        every = want_text(Hours(from_unix_s=EVER[0], to_unix_s=EVER[1]))
        async with publishing_client(self.mosquitto.settings, PATIENCE_S) as client:
            for name in TERMINALS[1:]:
                await client.publish(desk_topic(name, WANT), every, qos=1, retain=True)

    async def check(self) -> None:
        """Every row of every site is there once and in order."""
        for site in self.sites:
            await until(lambda: len(self.desk.readings(site)) >= len(site.stored()[0]), "all rows")  # noqa: B023
            await asyncio.to_thread(self.desk.check, site)


@asynccontextmanager
async def field(
    folder: Path, mosquitto: Mosquitto, postgres: Postgres, database: DeskDatabase
) -> AsyncIterator[Field]:
    """Each site has some hours of yesterday in its store."""
    config = desk_config(folder, mosquitto.port, database)
    async with AsyncExitStack() as stack:
        process = stack.enter_context(desk_at_work(config))
        lines = [await stack.enter_async_context(Line(mosquitto.port).laid()) for _ in TERMINALS]
        sites = [site_at(folder, name, line) for name, line in zip(TERMINALS, lines, strict=True)]
        hours = shifted(full_day()[:READINGS], time.time() - START_UNIX_S - 8 * 3600.0)
        for site in sites:
            await site.keeper.open()
            await site.hear(hours)
            await stack.enter_async_context(site.working())
        yield Field(
            config=config,
            process=process,
            mosquitto=mosquitto,
            postgres=postgres,
            desk=Desk(database),
            lines=lines,
            sites=sites,
            wanted=set(),
        )


async def kill_worker(at: Field, rng: random.Random) -> None:
    """One of them; another one starts."""
    workers = psutil.Process(at.process.pid).children
    await until(lambda: bool(workers()), "a worker")
    rng.choice(workers()).kill()


async def kill_broker(at: Field, _: random.Random) -> None:
    """The desk's, and a new start; notes are told meanwhile."""
    await asyncio.to_thread(at.mosquitto.kill)
    await at.note()
    await asyncio.to_thread(at.mosquitto.start)


async def kill_database(at: Field, _: random.Random) -> None:
    """The like."""
    await asyncio.to_thread(at.postgres.kill)
    await at.note()
    await asyncio.to_thread(at.postgres.start)


async def cut_line(at: Field, rng: random.Random) -> None:
    """Of one site, until it has missed it; notes are told meanwhile."""
    place = rng.randrange(len(at.sites))
    at.lines[place].cut()
    await at.note()
    await until(lambda: not at.sites[place].forwarder.connected, "the line is missed")
    await at.lines[place].mend()


FAULTS: Mapping[str, Callable[[Field, random.Random], Awaitable[None]]] = {
    "kill -9 of a worker of the desk": kill_worker,
    "kill -9 of the desk's broker": kill_broker,
    "kill -9 of PostgreSQL": kill_database,
    "a site's line cut": cut_line,
}


async def done_to(at: Field, times: int) -> dict[str, float]:
    """Each fault so many times, mixed; the longest from a fault's end until all notes have arrived (s)."""
    rng = random.Random(times)
    order = [name for name in FAULTS for _ in range(times)]
    rng.shuffle(order)
    slowest_s = dict.fromkeys(FAULTS, 0.0)
    await at.tell()
    for number, name in enumerate(order):
        if number == len(order) // 2:
            await at.ask_for_all()
        await FAULTS[name](at, rng)
        slowest_s[name] = max(slowest_s[name], await at.tell())
    await at.check()
    return slowest_s


def outcomes(folder: Path, times: int) -> list[Outcome]:
    """As rows of the table of faults; a row that is lost, doubled or out of order ends it."""
    postgres, mosquitto = Postgres(), Mosquitto(folder)

    async def all_of() -> dict[str, float]:
        async with field(folder, mosquitto, postgres, postgres.database()) as at:
            return await done_to(at, times)

    try:
        postgres.start()
        mosquitto.start()
        return [Outcome(name, times, 0, 0, took_s) for name, took_s in asyncio.run(all_of()).items()]
    finally:
        mosquitto.stop()
        postgres.close()
