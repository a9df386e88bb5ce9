"""Session folders that the tests of tuning share."""

from collections.abc import Sequence
from pathlib import Path

import pytest

from agent.replay.sessions import write_session
from tests.replay.tuning.days import session

HOURS = ((0.0, 150.0), (100.0, 250.0), (150.0, 300.0))  # minutes of the sample day


@pytest.fixture(autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Plans go to a folder of this run, shared by its tests."""
    folder = tmp_path_factory.getbasetemp() / "cache"
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(folder))


@pytest.fixture(scope="session")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Sequence[Path]:
    """Three labelled sessions, written once."""
    top = tmp_path_factory.mktemp("sessions")
    paths = [top / f"hours-{index}" for index in range(len(HOURS))]
    for path, (first, last) in zip(paths, HOURS, strict=True):
        write_session(path, session(first, last))
    return paths
