"""The bench of a desk in its short form: that it runs, and counts what it says."""

import asyncio
from pathlib import Path

import pytest

from agent.config_desk import DeskDatabase
from tests.bench.desk import copy_ratio, sustained
from tests.processes import Mosquitto


def test_rows_are_counted_against_plain_copy(database: DeskDatabase) -> None:
    """A bound that only a writer of another order breaks: a statement a row takes ten times as long."""
    found = copy_ratio(database, 20, 10)
    assert found.ours_a_s > 0.05 * found.copy_a_s
    assert 50.0 < found.row_bytes < 2000.0


@pytest.mark.mosquitto
def test_every_terminal_is_answered(tmp_path: Path, mosquitto: Mosquitto, database: DeskDatabase) -> None:
    found = asyncio.run(sustained(tmp_path, database, mosquitto.port, 30, 3.0))
    assert len(found.answered_s) == found.sent == 9
