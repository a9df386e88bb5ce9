"""The command line: names, help, exit codes."""

import importlib
import subprocess
import sys
from pathlib import Path

import pytest

from agent.cli import COMMANDS, main
from tests.job_text import JOB_TOML


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_its_summary_and_example(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    module = importlib.import_module(f"agent.commands.{command}")
    assert module.SUMMARY == COMMANDS[command]
    assert module.EXAMPLE.startswith(f"peakshade {command}")
    with pytest.raises(SystemExit) as ended:
        main([command, "--help"])
    assert ended.value.code == 0
    assert module.EXAMPLE in capsys.readouterr().out


def test_help_names_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--help"])
    assert ended.value.code == 0
    listed = capsys.readouterr().out
    assert all(f"    {command}" in listed for command in COMMANDS)


@pytest.mark.parametrize("words", [[], ["dance"], ["--fast"]])
def test_wrong_usage_ends_with_2(words: list[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(words)
    assert ended.value.code == 2


def test_a_missing_config_is_a_message_and_not_a_traceback(tmp_path: object) -> None:
    found = subprocess.run(
        [sys.executable, "-m", "agent", "plan", f"{tmp_path}/none.toml"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode == 2
    assert "none.toml" in found.stderr
    assert "Traceback" not in found.stderr


def test_a_reader_that_has_enough_is_no_error(tmp_path: Path) -> None:
    config = tmp_path / "job.toml"
    config.write_text(JOB_TOML)
    command = [sys.executable, "-m", "agent", "plan", str(config), "--json"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        assert running.stderr is not None
        running.stdout.read(1)
        running.stdout.close()
        assert b"Traceback" not in running.stderr.read()
    assert running.returncode == 0
