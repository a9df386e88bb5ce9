"""From sites to the desk's store over a real broker, while one thing after the other is killed or cut."""

import asyncio
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AsyncExitStack, contextmanager
from pathlib import Path

import aiomqtt
import pytest

from agent.config_desk import DeskDatabase
from agent.forward.batch import Batch, Row, packed
from agent.inputs.messages import REFUSED, batch_topic, desk_topic
from agent.inputs.mosquitto import DESK_RIGHTS, Account
from agent.records import Note
from agent.store.desk.opening import open_desk
from agent.store.opening import StoreError
from agent.store.reader import events, situations, stored_between
from agent.store.writer import Stored
from tests.desk.postgres import Postgres
from tests.desk.site import Line, Site, shifted, site_at
from tests.live import ROOT
from tests.processes import LOADED, PATIENCE_S, Mosquitto
from tests.watch.sample_day import START_UNIX_S, full_day

TERMINALS = ("van-1", "van-2", "van-3")
READINGS = 800
AFTER_RETURN_S = 10.0 * LOADED
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
    process = subprocess.Popen([sys.executable, "-m", "agent", "desk", str(config)], cwd=ROOT)
    try:
        yield process
    finally:
        process.terminate()
        assert process.wait(PATIENCE_S) == 0


def workers_of(process: subprocess.Popen[bytes]) -> list[int]:
    """Process ids of its children."""
    found = Path(f"/proc/{process.pid}/task/{process.pid}/children").read_text()
    return [int(word) for word in found.split()]


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

    def made(self) -> bool:
        """Whether it has its tables."""
        try:
            with open_desk(self._database) as connection:
                return connection.execute("SELECT count(*) FROM note").fetchone()[0] == 0
        except StoreError:
            return False

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


@pytest.mark.mosquitto
def test_every_row_arrives_once_whatever_is_killed(
    tmp_path: Path, mosquitto: Mosquitto, postgres: Postgres, database: DeskDatabase
) -> None:
    """Three sites and two workers; the hours before are asked for one by one, notes are told in between."""
    asyncio.run(_faults(tmp_path, mosquitto, postgres, database))


async def _faults(folder: Path, mosquitto: Mosquitto, postgres: Postgres, database: DeskDatabase) -> None:
    async with AsyncExitStack() as stack:
        config = desk_config(folder, mosquitto.port, database)
        process = stack.enter_context(desk_at_work(config))
        lines = [await stack.enter_async_context(Line(mosquitto.port).laid()) for _ in TERMINALS]
        sites = [site_at(folder, name, line) for name, line in zip(TERMINALS, lines, strict=True)]
        hours = shifted(full_day()[:READINGS], time.time() - START_UNIX_S - 8 * 3600.0)
        for site in sites:
            await site.keeper.open()
            await site.hear(hours)
            await stack.enter_async_context(site.working())
        desk, wanted = Desk(database), set[str]()

        async def tell() -> float:
            wanted.update([await site.note() for site in sites])
            return await until(lambda: wanted <= desk.notes(), "the notes arrive")

        await tell()
        os.kill(workers_of(process)[0], signal.SIGKILL)
        await tell()
        await asyncio.to_thread(mosquitto.kill)
        await asyncio.gather(tell(), asyncio.to_thread(mosquitto.start))
        await asyncio.gather(*(asyncio.to_thread(ask, config, name) for name in TERMINALS))
        await asyncio.to_thread(postgres.kill)
        wanted.update([await site.note() for site in sites])
        await asyncio.to_thread(postgres.start)
        await tell()
        lines[0].cut()
        wanted.update([await sites[0].note()])
        await until(lambda: not sites[0].forwarder.connected, "the line is missed")
        await lines[0].mend()
        assert await tell() < AFTER_RETURN_S
        for site in sites:
            await until(lambda: len(desk.readings(site)) >= len(site.stored()[0]), "all rows")  # noqa: B023
            await asyncio.to_thread(desk.check, site)


def ask(config: Path, terminal: str) -> None:
    """For every reading there is, by the command."""
    hours = ["--from", "2020-01-01T00:00:00Z", "--to", "2090-01-01T00:00:00Z"]
    command = [sys.executable, "-m", "agent", "desk", str(config), "--single", terminal, *hours]
    subprocess.run(command, cwd=ROOT, check=True)


@pytest.mark.mosquitto
def test_who_publishes_under_another_name_is_refused_and_named(
    tmp_path: Path, database: DeskDatabase
) -> None:
    """By the broker, where it is another's topic; by the desk, where the message says another name."""
    accounts = "".join(Account(name, name).line() for name in ("desk", "van-1", "van-2"))
    (tmp_path / "accounts").write_text(accounts)
    (tmp_path / "rights").write_text(DESK_RIGHTS)
    closed = f"allow_anonymous false\npassword_file {tmp_path}/accounts\nacl_file {tmp_path}/rights"
    broker = Mosquitto(tmp_path, more=closed)
    broker.start()
    try:
        asyncio.run(_impostor(tmp_path, broker, database))
    finally:
        broker.stop()


async def _impostor(folder: Path, broker: Mosquitto, database: DeskDatabase) -> None:
    config = desk_config(folder, broker.port, database)
    text = config.read_text().replace(
        "[database]", 'username = "desk"\npassword_file = "desk.word"\n[database]'
    )
    config.write_text(text)
    (folder / "desk.word").write_text("desk")
    now_unix_s = time.time()

    def batch(terminal: str, text: str) -> bytes:
        told = Note(unix_s=now_unix_s, kind="other", text=text)
        return packed(Batch(terminal=terminal, seq=1, rows=[Row(seq=1, reading=told)]))

    desk = Desk(database)
    with desk_at_work(config):
        await until(lambda: desk.made(), "tables")
        async with aiomqtt.Client("127.0.0.1", broker.port, username="van-2", password="van-2") as van:
            await van.subscribe(desk_topic("van-2", "+"), qos=1)
            # The broker takes and drops it: it has no answer for that in MQTT 3.1.1.
            await van.publish(batch_topic("van-1"), batch("van-1", "by another's topic"), qos=1)
            payload = batch("van-1", "by another's name")
            said: list[tuple[str, bytes]] = []

            async def hear() -> None:
                async for message in van.messages:
                    said.append((str(message.topic).rpartition("/")[2], bytes(message.payload)))
                    if said[-1][0] == REFUSED:
                        return

            hearing = asyncio.create_task(hear())
            while not hearing.done():
                # Until a worker listens there is nobody to refuse it.
                await van.publish(batch_topic("van-2"), payload, qos=1)
                await asyncio.wait((hearing,), timeout=1.0)
            await van.publish(batch_topic("van-2"), batch("van-2", "by its own"), qos=1)
            await until(lambda: bool(desk.notes()), "its own arrives")
    assert b"the account of van-2 publishes as van-1" in said[-1][1]
    assert desk.notes() == {"by its own"}
    topic, reason = desk.rejected()
    assert topic == batch_topic("van-2")
    assert "the account of van-2 publishes as van-1" in reason
