"""The tuning page opens sessions and rules files of the job's folder, and nothing else of the computer."""

import os
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from agent.errors import UsageError
from agent.replay.sessions import BUNDLED
from dashboard.page_data.tuning import MAX_RULES_BYTES, asked_days, asked_rules, own_days

BESIDE = "../elsewhere"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    """A job's folder with a session and a rules file; another one beside it, with the same."""
    for name in ("job", "elsewhere"):
        shutil.copytree(BUNDLED / "pampa-gusts", tmp_path / name / "day")
        (tmp_path / name / "calm.toml").write_text("[repeak]\nraise_db = 2.0\n")
    return tmp_path / "job"


def test_what_lies_in_the_folder_is_opened(root: Path) -> None:
    assert asked_days(["day"], root) == (root / "day",)
    assert asked_days([str(root / "day")], root) == (root / "day",)
    assert asked_days(["pampa-gusts"], root) == (BUNDLED / "pampa-gusts",)
    assert asked_rules("calm.toml", root, None) == root / "calm.toml"
    assert asked_rules(str(root.parent / "mine.toml"), root, root.parent / "mine.toml") is not None


def linked(to: str) -> Callable[[Path], str]:
    def make(root: Path) -> str:
        os.symlink(root.parent / to, root / "link")
        return "link"

    return make


def absolute(name: str) -> Callable[[Path], str]:
    return lambda root: str(root.parent / "elsewhere" / name)


def fixed(name: str) -> Callable[[Path], str]:
    return lambda _: name


def pipe(root: Path) -> str:
    os.mkfifo(root / "pipe.toml")
    return "pipe.toml"


def huge(root: Path) -> str:
    (root / "huge.toml").write_bytes(b"#" * (MAX_RULES_BYTES + 1))
    return "huge.toml"


RULES = [
    fixed("/dev/zero"),
    fixed("/etc/passwd"),
    fixed(f"{BESIDE}/calm.toml"),
    fixed("day"),
    fixed("none.toml"),
]
RULES += [
    fixed("day/../../elsewhere/calm.toml"),
    absolute("calm.toml"),
    linked("elsewhere/calm.toml"),
    pipe,
    huge,
]


@pytest.mark.parametrize("make", RULES)
def test_no_other_file_is_opened_as_rules(root: Path, make: Callable[[Path], str]) -> None:
    with pytest.raises(UsageError, match="is no rules file inside"):
        asked_rules(make(root), root, None)


DAYS = [
    fixed("/dev"),
    fixed("/dev/zero"),
    fixed(BESIDE),
    fixed(f"{BESIDE}/day"),
    fixed("day/../../elsewhere/day"),
]
DAYS += [absolute("day"), linked("elsewhere/day"), fixed("calm.toml"), fixed("none")]


@pytest.mark.parametrize("make", DAYS)
def test_no_other_folder_is_opened_as_a_day(root: Path, make: Callable[[Path], str]) -> None:
    with pytest.raises(UsageError, match="is no folder inside"):
        asked_days([make(root)], root)


@pytest.mark.parametrize("name", ["../../etc", "/dev", "/etc/../dev", ".."])
def test_a_name_that_the_browser_made_up_is_no_bundled_day(root: Path, name: str) -> None:
    with pytest.raises(UsageError, match="is no folder inside"):
        asked_days([name], root)


@pytest.mark.parametrize("name", ["signal.csv", "plan.json", "session.toml"])
@pytest.mark.parametrize("target", ["/dev/zero", "/etc/passwd", "../../elsewhere/day/power.csv"])
def test_a_session_has_no_file_from_elsewhere(root: Path, name: str, target: str) -> None:
    (root / "day" / name).unlink(missing_ok=True)
    os.symlink(target, root / "day" / name)
    with pytest.raises(UsageError, match="is no file of that folder"):
        asked_days(["day"], root)
    assert own_days(root) == {"day": "day"}


def test_a_pipe_in_a_session_is_not_waited_for(root: Path) -> None:
    os.mkfifo(root / "day" / "reach.csv")
    with pytest.raises(UsageError, match="is no file of that folder"):
        asked_days(["day"], root)
