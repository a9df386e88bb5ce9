"""Power cuts, kills, damage, wrong clocks and full disks: nothing acknowledged is lost, nothing doubled.

`python -m tests.bench.faults --long` does the same hundreds of times.
"""

from pathlib import Path

import pytest

from tests.faults import all_of, failed


@pytest.mark.faults
@pytest.mark.mosquitto
def test_faults_cost_nothing(tmp_path: Path) -> None:
    outcomes = list(all_of(tmp_path, 3))
    assert len(outcomes) >= 5
    assert [one for one in outcomes if failed(one)] == []
