"""`peakshade service`: systemd itself judges the unit, and a socket like its own hears the agent."""

import asyncio
import os
import shutil
import socket
import subprocess
import sys
from ctypes.util import find_library
from pathlib import Path

import pytest

from agent.cli import main
from agent.commands import service
from agent.service.systemd import tell_systemd
from tests.conftest import LayPlan
from tests.job_text import JOB_TOML
from tests.live import ROOT
from tests.processes import PATIENCE_S, free_port, listens, wait_until

# The mark that is asked for; systemd-analyze's scale goes from 0 (locked down) to 10.
MOST_EXPOSED = 2.0
SERIAL = '[[inputs.line]]\naddress = "/dev/ttyUSB0"\npattern = "(?P<air>.*)"\nreadings = {}\n'


def unit_of(folder: Path, text: str, capsys: pytest.CaptureFixture[str]) -> Path:
    """The unit for a config, as a file."""
    (folder / "van-1.toml").write_text(text)
    assert main(["service", "show", str(folder / "van-1.toml")]) == 0
    unit = folder / "peakshade-van-1.service"
    unit.write_text(capsys.readouterr().out)
    return unit


@pytest.mark.parametrize("inputs", ["", SERIAL], ids=["no lines", "serial lines"])
def test_systemd_finds_it_locked_down(
    inputs: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    if shutil.which("systemd-analyze") is None:
        pytest.skip("no systemd-analyze on the path (Debian package: systemd)")
    unit = unit_of(tmp_path, JOB_TOML + inputs, capsys)
    command = ["systemd-analyze", "security", "--offline=true", f"--threshold={MOST_EXPOSED * 10:.0f}", unit]
    judged = subprocess.run(command, capture_output=True, text=True, check=False)
    assert judged.returncode == 0, judged.stdout[-2000:] + judged.stderr


def test_the_agent_runs_with_the_system_calls_that_are_left(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], lay_plan: LayPlan
) -> None:
    """A library asks for more and does without; `nice`, by which the page makes reports, too."""
    if shutil.which("systemd-analyze") is None or find_library("seccomp") is None:
        pytest.skip("no systemd-analyze, or no libseccomp (Debian package: systemd)")
    port = free_port()
    lay_plan(tmp_path / "van-1.toml")
    unit = unit_of(tmp_path, f"{JOB_TOML}\n[broker]\nport = {port}\n", capsys)
    filtered = [sys.executable, "-m", "tests.seccomp", str(unit)]
    watch = [sys.executable, "-P", "-m", "agent", "run", str(tmp_path / "van-1.toml"), "--no-dashboard"]
    with subprocess.Popen([*filtered, "nice", "-n", "10", *watch], cwd=ROOT) as process:
        wait_until(lambda: listens(port) or process.poll() is not None, PATIENCE_S, "it watches")
        process.terminate()
        assert process.wait(PATIENCE_S) == 0


def test_the_unit_names_the_config_and_no_secret(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "salt pan 100%"
    folder.mkdir()
    text = unit_of(folder, JOB_TOML, capsys).read_text()
    assert "ExecStart=" in text and "salt\\x20pan\\x20100%%/van-1.toml" in text
    for line in ("Restart=on-failure", "WatchdogSec=60", "User=peakshade", "Type=notify"):
        assert line in text.splitlines()


def test_without_systemd_it_says_what_to_do(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(service, "UNITS", tmp_path)
    monkeypatch.setenv("PATH", "")
    (tmp_path / "van-1.toml").write_text(JOB_TOML)
    assert main(["service", "install", str(tmp_path / "van-1.toml")]) == 2
    assert "peakshade run" in capsys.readouterr().err


@pytest.mark.parametrize("abstract", [False, True])
def test_it_says_that_it_lives(abstract: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """sd_notify(3): READY=1 and WATCHDOG=1 in datagrams to NOTIFY_SOCKET."""
    name = f"\0peakshade-{os.getpid()}" if abstract else str(tmp_path / "notify")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as systemd:
        systemd.bind(name)
        monkeypatch.setenv("NOTIFY_SOCKET", name.replace("\0", "@"))

        async def test() -> None:
            telling = asyncio.create_task(tell_systemd())
            await asyncio.sleep(0)
            telling.cancel()

        asyncio.run(test())
        assert [systemd.recv(100), systemd.recv(100)] == [b"READY=1", b"WATCHDOG=1"]
