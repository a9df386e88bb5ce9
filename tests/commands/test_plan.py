"""`peakshade plan`: exit codes and what is printed."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from agent.cli import main
from tests.job_text import JOB_TOML, with_line


def write(folder: Path, text: str) -> str:
    """The config's path."""
    path = folder / "van-1.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def works() -> str:
    """A config without anything to find, for a day to come."""
    day = f"{datetime.now(UTC) + timedelta(days=7):%Y-%m-%d}"
    text = with_line("up_mbps = 4.0", "up_mbps = 3.0").replace("eirp_dbw = 50.0", "eirp_dbw = 44.0")
    text = text.replace("power_w = 8.0", "power_w = 11.3").replace("back_off_db = 1.0", "back_off_db = 2.5")
    return text.replace("2026-07-18", day).replace(":00+02:00", ":00Z")


def test_plan_that_works_is_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", write(tmp_path, works())]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[1].startswith("WORKS: ")
    assert "  None." in lines
    # Said once, and every sentence begins as one.
    assert sum("unshaded" in line for line in lines) == 1
    told = [line for line in lines[3 : lines.index("What if")] if line.startswith("  ")]
    assert not any(line[2].islower() for line in told)


def test_finding_is_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = write(tmp_path, with_line("longitude_deg = 8.0", "longitude_deg = 120.0"))
    assert main(["plan", path]) == 1
    assert "below the horizon" in capsys.readouterr().out.splitlines()[1]


def test_a_day_in_the_past_and_a_wrong_input_are_findings(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    past = works().split("[day]")[0] + '[day]\nstart = "2026-07-18T09:00:00Z"\nend = "2026-07-18T19:00:00Z"\n'
    assert main(["plan", write(tmp_path, past + '[[inputs.onewire]]\nsensor = "28"\n')]) == 1
    printed = " ".join(capsys.readouterr().out.split())
    assert "WORKS, with 2 findings: All booked rates are carried" in printed
    assert "The job ended on 18 July 2026 by this computer's clock: is [day] the right one?" in printed
    assert "inputs.onewire[1]" in printed


def test_two_pages_to_print(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("weasyprint")
    config, out = write(tmp_path, works()), tmp_path / "sheet.pdf"
    assert main(["plan", config, "--page", str(out)]) == 0
    assert out.read_bytes().startswith(b"%PDF")
    assert "WORKS" in capsys.readouterr().out
    assert main(["plan", config, "--page", str(tmp_path / "none" / "sheet.pdf")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_wrong_config_is_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", write(tmp_path, JOB_TOML.replace("0.62", "62"))]) == 2
    assert "write 0.62" in capsys.readouterr().err
    assert main(["plan", str(tmp_path / "none.toml")]) == 2
