"""One sender floods, the others are served: the short form of tests/bench/floods.py."""

from pathlib import Path

import pytest

from tests.bench.floods import FLOODS, MOST_MEMORY_MB, measure

SECONDS = 3.0
# The figure is one second on a computer that does nothing else.
LOADED_P99_S = 10.0


@pytest.mark.parametrize("flood", FLOODS[1:])
def test_a_flood_starves_nobody(flood: str, tmp_path: Path) -> None:
    found = measure(flood, tmp_path, SECONDS)
    assert found.acknowledged > 0
    assert found.p99_s < LOADED_P99_S
    assert found.memory_mb < MOST_MEMORY_MB
