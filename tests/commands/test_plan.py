"""`peakshade plan`: exit codes and what is printed."""

from pathlib import Path

import pytest

from agent.cli import main
from tests.job_text import JOB_TOML, with_line


def write(folder: Path, text: str) -> str:
    """The config's path."""
    path = folder / "van-1.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_plan_that_works_is_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", write(tmp_path, with_line("up_mbps = 4.0", "up_mbps = 3.0"))]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].startswith("WORKS: ")
    assert "  none" in lines


def test_finding_is_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path, with_line("longitude_deg = 8.0", "longitude_deg = 120.0"))
    assert main(["plan", path]) == 1
    assert "below the horizon" in capsys.readouterr().out.splitlines()[1]


def test_wrong_config_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", write(tmp_path, JOB_TOML.replace("0.62", "62"))]) == 2
    assert "write 0.62" in capsys.readouterr().err
    assert main(["plan", str(tmp_path / "none.toml")]) == 2
