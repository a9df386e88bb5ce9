"""Reports, replays and recordings of the desk's archive, as of a terminal's own store."""

import subprocess
import sys
from pathlib import Path

from agent.config_desk import DeskDatabase
from agent.replay.recording import recorded
from agent.report.stored import THINNED, stored_day
from tests.live import ROOT

DAY = "2026-07-18"


def test_a_stored_day_is_the_same_from_either(own: Path, desk: DeskDatabase) -> None:
    one, other = (stored_day(place, DAY, None) for place in (own, desk))
    assert one.session.readings == other.session.readings
    assert one.events == other.events
    assert other.session.title == f"{one.session.title}{THINNED}"
    assert (one.session.job, one.session.plan) == (other.session.job, other.session.plan)


def test_hours_are_recorded_alike_from_either(own: Path, desk: DeskDatabase) -> None:
    start, end = f"{DAY}T11:00:00+02:00", f"{DAY}T12:00:00+02:00"
    one, other = (recorded(place, None, start, end).session for place in (own, desk))
    assert one == other
    assert one.readings


def test_a_day_of_the_desk_is_replayed_by_its_address(desk: DeskDatabase) -> None:
    words = dict(part.split("=") for part in desk.connect.split())
    address = f"postgresql://{words['user']}@{words['host']}:{words['port']}/{words['dbname']}"
    command = ["replay", "--store", address, "--day", DAY]
    done = subprocess.run(
        [sys.executable, "-m", "agent", *command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert THINNED.strip() in done.stdout
