"""`peakshade tune` on hours of the sample day."""

import json
import os
import shutil
import signal
import subprocess
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TextIO

import pytest

from agent.cli import main
from agent.replay.sessions import write_session
from tests.replay.tuning.days import session

Output = pytest.CaptureFixture[str]
GRID = ["--grid", "repeak.raise_db=0.9:3:2", "--workers", "1"]


@pytest.fixture(autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Plans and work go to a folder of this run, shared by its tests."""
    folder = tmp_path_factory.getbasetemp() / "cache"
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(folder))


@pytest.fixture(scope="module")
def days(tmp_path_factory: pytest.TempPathFactory) -> list[str]:
    """Two sessions in which the dish was knocked, and one without."""
    top = tmp_path_factory.mktemp("days")
    hours = {"morning": (0.0, 100.0), "again": (10.0, 120.0), "noon": (150.0, 250.0)}
    for name, (first, last) in hours.items():
        write_session(top / name, session(first, last))
    return [str(top / name) for name in hours]


@pytest.fixture
def deaf(tmp_path: Path) -> str:
    """Rules in force that miss the knock."""
    path = tmp_path / "deaf.toml"
    path.write_text("[repeak]\nraise_db = 3.0\n", encoding="utf-8")
    return str(path)


def test_a_better_set_is_proposed_in_a_file_of_its_own(
    days: list[str], deaf: str, tmp_path: Path, capsys: Output
) -> None:
    out = tmp_path / "proposed.toml"
    assert main(["tune", *days, "--rules", deaf, *GRID, "--out", str(out)]) == 1
    assert tomllib.loads(out.read_text(encoding="utf-8")) == {"repeak": {"raise_db": 0.9}}
    assert tomllib.loads(Path(deaf).read_text(encoding="utf-8")) == {"repeak": {"raise_db": 3.0}}
    told = capsys.readouterr().out
    assert "PRESENT RULES" in told
    assert "CHOSEN repeak.raise_db 0.9" in told
    assert "The choice holds on sessions that it did not see." in told
    assert f'{out} written. Read it; who accepts it sets in the config: rules = "{out}"' in told


def test_json_has_the_curve_and_every_point(
    days: list[str], deaf: str, tmp_path: Path, capsys: Output
) -> None:
    main(["tune", *days, "--rules", deaf, *GRID, "--out", str(tmp_path / "p.toml"), "--json"])
    body = json.loads(capsys.readouterr().out)
    assert body["sessions"] == ["morning", "again", "noon"]
    assert body["chosen"]["changes"] == {"repeak.raise_db": 0.9}
    assert [len(column) for column in body["points"].values()] == [3, 3, 3]
    assert body["points"]["recall"][0] == body["present"]["recall"] < body["chosen"]["figures"]["recall"]
    assert body["curve"][-1]["figures"] == body["chosen"]["figures"]
    assert [one["session"] for one in body["held_out"]["sessions"]] == body["sessions"]
    assert body["proposal"]["file"] == str(tmp_path / "p.toml")
    assert [one["kind"] for one in body["differences"]["morning"] if one["rule"] == "repeak"] == [
        "only-second"
    ]


def test_rules_that_are_good_stay_and_nothing_is_written(
    days: list[str], tmp_path: Path, capsys: Output
) -> None:
    out = tmp_path / "proposed.toml"
    assert main(["tune", *days, *GRID, "--out", str(out)]) == 0
    assert not out.exists()
    assert "No set is better than the present rules." in capsys.readouterr().out


def test_rules_in_force_are_not_overwritten(days: list[str], deaf: str, capsys: Output) -> None:
    before = Path(deaf).read_text(encoding="utf-8")
    assert main(["tune", *days, "--rules", deaf, *GRID, "--out", deaf]) == 2
    assert "rules are not overwritten" in capsys.readouterr().err
    assert Path(deaf).read_text(encoding="utf-8") == before


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "nothing to try; add --grid"),
        (["--grid", "lower-stream.headroom_mbps=0:1:3"], "no label says whether lower-stream is right"),
        (["--grid", "repeak.raise_db=1:2:2", "--grid", "repeak.raise_db=1:2:2"], "is varied twice"),
        (["--random", "5", "--vary", "repeak", "--vary", "repeak.hold_s"], "repeak.hold_s: is varied twice"),
        (["--random", "5", "--vary", "peak"], "peak is no parameter of a rule"),
        (["--random", "-5"], "nothing to try"),
        (["--rules", "none.toml", "--random", "5"], "none.toml: cannot be read as a rules file"),
    ],
)
def test_usage_errors(
    arguments: list[str], words: str, days: list[str], tmp_path: Path, capsys: Output
) -> None:
    assert main(["tune", *days, "--out", str(tmp_path / "p.toml"), *arguments]) == 2
    assert words in capsys.readouterr().err


def test_a_session_without_labels_or_named_twice_is_refused(
    days: list[str], tmp_path: Path, capsys: Output
) -> None:
    bare = tmp_path / "bare"
    bare.mkdir()
    for path in Path(days[0]).iterdir():
        if path.name != "labels.csv":
            (bare / path.name).write_bytes(path.read_bytes())
    assert main(["tune", str(bare), *GRID]) == 2
    assert "bare: has no labels.csv" in capsys.readouterr().err
    assert main(["tune", days[0], days[0], *GRID]) == 2
    assert "is named twice" in capsys.readouterr().err


@pytest.fixture
def held(days: list[str], tmp_path: Path) -> Iterator[tuple[list[str], Callable[[], TextIO]]]:
    """The sessions of which the second stops whoever reads it until the test writes it.

    Returns the sessions, and a function that returns once the second is being read, with the way to write it.
    """
    top = tmp_path / "held"
    copies = [str(shutil.copytree(day, top / Path(day).name)) for day in days]
    signal_csv = Path(copies[1]) / "signal.csv"
    signal_csv.unlink()
    os.mkfifo(signal_csv)
    yield copies, lambda: signal_csv.open("w", encoding="utf-8")
    shutil.rmtree(top)


def test_killed_in_the_middle_the_same_command_goes_on(
    days: list[str], held: tuple[list[str], Callable[[], TextIO]], deaf: str, tmp_path: Path
) -> None:
    """Killed outright while it reads the second session: the first one's result is taken."""
    copies, second_is_read = held
    work, out = tmp_path / "work", tmp_path / "p.toml"
    options = ["--rules", deaf, *GRID, "--work", str(work), "--out", str(out), "--json"]
    command = [sys.executable, "-m", "agent", "tune", *copies, *options]
    killed = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE)
    with second_is_read():
        killed.kill()
        killed.communicate()
    first = {path: path.stat().st_mtime_ns for path in work.glob("tally-*.npz")}
    assert first
    (Path(copies[1]) / "signal.csv").unlink()
    shutil.copy(Path(days[1]) / "signal.csv", copies[1])
    resumed = subprocess.run(command, capture_output=True, text=True, check=False)
    assert resumed.returncode == 1
    assert {path: path.stat().st_mtime_ns for path in first} == first
    out.unlink()
    fresh = [str(tmp_path / "other") if word == str(work) else word for word in command]
    assert subprocess.run(fresh, capture_output=True, text=True, check=False).stdout == resumed.stdout


@pytest.fixture
def heeded() -> Iterator[None]:
    """A suite that a shell started in the background ignores interrupts, and so would what it starts."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("heeded")
def test_interrupted_by_a_person_it_says_that_it_can_go_on(
    days: list[str], held: tuple[list[str], Callable[[], TextIO]], deaf: str, tmp_path: Path
) -> None:
    """The interrupt goes to the whole group, as from a terminal; no process prints a traceback."""
    copies, second_is_read = held
    command = [sys.executable, "-m", "agent", "tune", *copies, "--rules", deaf, "--random", "300"]
    command += ["--work", str(tmp_path / "work"), "--workers", "2", "--out", str(tmp_path / "p.toml")]
    tuning = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, start_new_session=True)
    with second_is_read() as second:
        os.killpg(tuning.pid, signal.SIGINT)
        second.write((Path(days[1]) / "signal.csv").read_text(encoding="utf-8"))
    _, said = tuning.communicate()
    assert tuning.returncode == 2
    assert said == "peakshade tune: interrupted; the same command goes on where it was\n"
    assert not (tmp_path / "p.toml").exists()
