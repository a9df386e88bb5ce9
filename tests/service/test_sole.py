"""Two agents on one store, or for one terminal: the second is told who the first is, or takes over."""

import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from agent.cli import main
from tests.conftest import LayPlan
from tests.faults import small_disk
from tests.job_text import JOB_TOML
from tests.processes import PATIENCE_S, free_port, listens, wait_until


def config_at(folder: Path, store: str, port: int) -> Path:
    """The config of an agent with its own broker."""
    path = folder / f"{store}.toml"
    path.write_text(
        f'{JOB_TOML}\n[broker]\nport = {port}\n[store]\npath = "{store}.sqlite3"\n', encoding="utf-8"
    )
    return path


class Running:
    """`peakshade run` in a process of its own."""

    def __init__(self, config: Path, port: int, *options: str) -> None:
        command = [sys.executable, "-m", "agent", "run", str(config), "--no-dashboard", *options]
        self.process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        wait_until(lambda: listens(port) or self.process.poll() is not None, PATIENCE_S, "the agent listens")


@pytest.fixture
def first(tmp_path: Path, lay_plan: LayPlan) -> Iterator[tuple[Running, int]]:
    for store in ("day", "other"):
        lay_plan(tmp_path / f"{store}.toml")
    port = free_port()
    running = Running(config_at(tmp_path, "day", port), port)
    assert running.process.poll() is None
    yield running, port
    running.process.terminate()
    running.process.communicate(timeout=PATIENCE_S)


def test_a_second_agent_is_refused_by_the_name_of_the_first_or_takes_over(
    tmp_path: Path, first: tuple[Running, int], capsys: pytest.CaptureFixture[str]
) -> None:
    running, port = first
    other_port = free_port()
    for config in (config_at(tmp_path, "day", other_port), config_at(tmp_path, "other", port)):
        assert main(["run", str(config), "--no-dashboard"]) == 2
        said = capsys.readouterr().err
        assert f"on {socket.gethostname()}, process {running.process.pid}, running since 20" in said
        assert "--take-over" in said
    second = Running(config_at(tmp_path, "day", other_port), other_port, "--take-over")
    assert running.process.wait(PATIENCE_S) == 0
    assert listens(other_port)
    second.process.terminate()
    assert second.process.wait(PATIENCE_S) == 0
    second.process.communicate()


def test_an_agent_that_was_killed_keeps_nobody_out(tmp_path: Path, first: tuple[Running, int]) -> None:
    running, port = first
    running.process.kill()
    running.process.wait()
    again = Running(config_at(tmp_path, "day", port), port)
    assert again.process.poll() is None
    again.process.terminate()
    assert again.process.wait(PATIENCE_S) == 0
    again.process.communicate()


@pytest.mark.parametrize("mended", [True, False])
def test_a_disk_that_takes_nothing_at_the_start_is_waited_for(
    tmp_path: Path, lay_plan: LayPlan, mended: bool
) -> None:
    """And whoever does not want to wait can end the agent."""
    port, said = free_port(), tmp_path / "said.txt"
    lay_plan(tmp_path / "day.toml")
    with small_disk(tmp_path / "disk") as disk:
        if disk is None:
            pytest.skip("a file system cannot be mounted here")
        config = config_at(tmp_path, "day", port)
        config.write_text(config.read_text().replace("day.sqlite3", str(disk / "day.sqlite3")))
        subprocess.run(["mount", "-o", "remount,ro", disk], check=True)
        command = [sys.executable, "-m", "agent", "run", str(config), "--no-dashboard"]
        with said.open("w") as err, subprocess.Popen(command, stdout=err, stderr=err) as process:
            wait_until(lambda: "messages wait" in said.read_text(), PATIENCE_S, "it says what it waits for")
            if mended:
                subprocess.run(["mount", "-o", "remount,rw", disk], check=True)
                wait_until(lambda: listens(port), PATIENCE_S, "it watches")
            process.terminate()
            assert process.wait(PATIENCE_S) == 0
    assert "Read-only file system" in said.read_text()
    assert "Traceback" not in said.read_text()
