"""Settings and fixtures that every test shares."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import settings

from tests.processes import Mosquitto

# The same examples in every run, and no time limit for one: the machine may be shared.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.load_profile("repeatable")


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Mosquitto]:
    """A broker of its own for one test."""
    folder = tmp_path / "mosquitto"
    folder.mkdir()
    broker = Mosquitto(folder)
    broker.start()
    yield broker
    broker.stop()
