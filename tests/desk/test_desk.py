"""From sites to the desk's store over a real broker, while one thing after the other is killed or cut."""

import asyncio
import shutil
import time
from contextlib import AsyncExitStack
from pathlib import Path

import pytest

from agent.cli import main
from agent.config import LOOPBACK, BrokerSettings, load_config
from agent.config_desk import DeskDatabase, load_desk_config
from agent.desk.worker import Worker
from agent.forward.batch import Batch, Row, packed
from agent.inputs.messages import REFUSED, batch_topic, desk_topic
from agent.inputs.mosquitto import CERTIFICATE, CONFIG
from agent.inputs.mqtt import publishing_client
from agent.records import Note
from tests.desk.faults import FAULTS, Desk, cut_line, done_to, field, until
from tests.desk.postgres import Postgres
from tests.job_text import JOB_TOML
from tests.processes import LOADED, PATIENCE_S, Mosquitto, free_port

# What is promised of an idle computer.
AFTER_RETURN_S = 10.0


@pytest.mark.mosquitto
def test_every_row_arrives_once_whatever_is_killed(
    tmp_path: Path, mosquitto: Mosquitto, postgres: Postgres, database: DeskDatabase
) -> None:
    """Three sites and two workers; the hours before are asked for one by one, notes are told in between."""

    async def test() -> dict[str, float]:
        async with field(tmp_path, mosquitto, postgres, database) as at:
            return await done_to(at, 1)

    slowest_s = asyncio.run(test())
    line = next(name for name, fault in FAULTS.items() if fault is cut_line)
    assert slowest_s[line] < AFTER_RETURN_S * LOADED


class Installed:
    """A desk's Mosquitto with the files of `peakshade desk --mosquitto`, and configs that use them."""

    def __init__(self, folder: Path, database: DeskDatabase, capsys: pytest.CaptureFixture[str]) -> None:
        self._capsys = capsys
        self._folder = folder
        port = free_port()
        self._command = ["--mosquitto", str(folder / "broker"), "--broker-host", LOOPBACK]
        self._command += ["--broker-port", str(port)]
        printed = self.add("van-1", "van-2")
        text = printed[printed.index("[broker]") : printed.index("accounts added")].rpartition("\n")[0]
        (folder / "desk.toml").write_text(f'{text}\n[database]\nconnect = "{database.connect}"\n')
        self.config = load_desk_config(folder / "desk.toml", {})
        self.broker = Mosquitto.of(folder / "broker" / CONFIG, port)

    def add(self, *terminals: str) -> str:
        """Accounts; what is printed."""
        command = ["desk", str(self._folder / "desk.toml"), *self._command, "--accounts", *terminals]
        assert main(command) == 0
        return self._capsys.readouterr().out

    def settings_of(self, terminal: str, printed: str) -> BrokerSettings:
        """As the terminal's own agent reads them, with its files beside its config."""
        folder = self._folder / terminal
        folder.mkdir()
        for name in (CERTIFICATE, f"{terminal}.password"):
            shutil.copy(self._folder / "broker" / name, folder)
        section = printed[printed.index("[forward]") :].replace("TERMINAL", terminal)
        text = JOB_TOML.replace('terminal = "van-1"', f'terminal = "{terminal}"') + section
        (folder / "config.toml").write_text(text)
        forward = load_config(folder / "config.toml", {}).forward
        assert forward is not None
        return forward.broker


@pytest.mark.mosquitto
def test_who_publishes_under_another_name_is_refused_and_named(
    tmp_path: Path, database: DeskDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    """By the broker, where it is another's topic; by the desk, where the message says another name."""
    installed = Installed(tmp_path, database, capsys)
    installed.broker.start()
    try:
        printed = installed.add("van-3")
        installed.broker.read_again()
        asyncio.run(_impostor(installed, installed.settings_of("van-3", printed), Desk(database)))
    finally:
        installed.broker.stop()


async def _impostor(installed: Installed, settings: BrokerSettings, desk: Desk) -> None:
    now_unix_s = time.time()

    def batch(terminal: str, text: str) -> bytes:
        told = Note(unix_s=now_unix_s, kind="other", text=text)
        return packed(Batch(terminal=terminal, seq=1, rows=[Row(seq=1, reading=told)]))

    async with AsyncExitStack() as stack:
        worker = asyncio.create_task(Worker(installed.config).run())
        stack.callback(worker.cancel)
        van = await stack.enter_async_context(publishing_client(settings, PATIENCE_S))
        await van.subscribe(desk_topic("van-3", "+"), qos=1)
        # The broker takes and drops it: it has no answer for that in MQTT 3.1.1.
        await van.publish(batch_topic("van-1"), batch("van-1", "by another's topic"), qos=1)
        said: list[tuple[str, bytes]] = []

        async def hear() -> None:
            async for message in van.messages:
                said.append((str(message.topic).rpartition("/")[2], bytes(message.payload)))
                if said[-1][0] == REFUSED:
                    return

        hearing = asyncio.create_task(hear())
        while not hearing.done():
            # Until a worker listens there is nobody to refuse it.
            await van.publish(batch_topic("van-3"), batch("van-1", "by another's name"), qos=1)
            await asyncio.wait((hearing,), timeout=1.0)
        await van.publish(batch_topic("van-3"), batch("van-3", "by its own"), qos=1)
        await until(lambda: bool(desk.notes()), "its own arrives")
    assert b"the account of van-3 publishes as van-1" in said[-1][1]
    assert desk.notes() == {"by its own"}
    topic, reason = desk.rejected()
    assert topic == batch_topic("van-3")
    assert "the account of van-3 publishes as van-1" in reason


@pytest.mark.parametrize(
    ("names", "wrong"),
    [
        (["van-1", "desk"], "desk"),
        (["van-9", "van-9"], "van-9"),
        (["van/9"], "van/9"),
        ([], "exists already"),
    ],
)
def test_accounts_that_cannot_be_are_refused_and_none_is_added(
    tmp_path: Path, names: list[str], wrong: str, capsys: pytest.CaptureFixture[str]
) -> None:
    command = ["desk", "desk.toml", "--mosquitto", str(tmp_path / "broker"), "--broker-host", LOOPBACK]
    assert main(command) == 0
    accounts = (tmp_path / "broker" / "accounts").read_text()
    options = ["--accounts", *names] if names else []
    assert main([*command, *options]) == 2
    assert wrong in capsys.readouterr().err
    assert (tmp_path / "broker" / "accounts").read_text() == accounts
    if names:
        command[command.index("--mosquitto") + 1] = str(tmp_path / "new")
        assert main([*command, *options]) == 2
        assert not (tmp_path / "new").exists()
