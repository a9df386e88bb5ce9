"""The skyline that the crew measured: blocked or not, and hours of shade."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plan.horizon import horizon_findings, skyline_deg
from agent.planning.compute import compute_plan
from tests.plan.sample_job import job as sample_job
from tests.plan.sample_job import unix_s


def test_skyline_runs_straight_from_pair_to_pair() -> None:
    # 10 deg high at 150, 20 at 170: 15 between; free beyond both. Across north as well.
    pairs = [(170.0, 20.0), (150.0, 10.0)]
    found = skyline_deg(pairs, 156.0, np.array([149.0, 150.0, 160.0, 170.0, 171.0, np.nan]))
    assert found[:5].tolist() == [0.0, 10.0, 15.0, 20.0, 0.0] and np.isnan(found[5])
    assert float(skyline_deg([(350.0, 10.0), (10.0, 20.0)], 0.0, 0.0)) == pytest.approx(15.0)
    assert float(skyline_deg([], 0.0, 123.0)) == 0.0


@given(st.lists(st.tuples(st.floats(0.0, 359.0), st.floats(0.0, 90.0)), min_size=1), st.floats(0.0, 360.0))
def test_property_never_above_the_highest_obstruction(
    pairs: list[tuple[float, float]], aim_deg: float
) -> None:
    found = skyline_deg(pairs, aim_deg, np.linspace(0.0, 360.0, 73))
    assert np.all(found <= max(height for _, height in pairs) + 1e-9) and np.all(found >= 0.0)


def test_a_wall_in_the_way_blocks_and_one_beside_does_not() -> None:
    base = sample_job()
    # The satellite stands 44 deg high at 156 deg; the beam is 1.9 deg wide.
    for height_deg, blocked in ((20.0, False), (42.0, False), (43.9, True), (60.0, True)):
        wall = [[140.0, height_deg], [175.0, height_deg]]
        found = compute_plan(replace(base, site=replace(base.site, obstructions=wall)))
        assert found.horizon.clearance_deg == pytest.approx(44.05 - 0.935 - height_deg, abs=0.02)
        assert bool(horizon_findings(found.horizon)) == blocked
        assert any("blocked or grazed" in one for one in found.findings) == blocked
    beside = compute_plan(replace(base, site=replace(base.site, obstructions=[[60.0, 70.0], [140.0, 70.0]])))
    assert horizon_findings(beside.horizon) == []
    assert compute_plan(base).horizon.clearance_deg is None


def test_shade_of_a_wall_to_the_west() -> None:
    # On 18 July at 37.25 N 6.95 W the sun stands 30 deg high in the west at 19:04 summer time: it culminates
    # at 14:34, and sin 30 = sin 37.25 sin 21 + cos 37.25 cos 21 cos H gives H = 67.6 deg, 4.51 h later.
    base = sample_job(end="2026-07-18T22:00:00+02:00")
    wall = [[240.0, 30.0], [330.0, 30.0]]
    (shade,) = compute_plan(replace(base, site=replace(base.site, obstructions=wall))).horizon.shades
    assert shade.start_unix_s == pytest.approx(unix_s("2026-07-18T19:04:00+02:00"), abs=600.0)
    # Until it sets.
    assert shade.end_unix_s == pytest.approx(unix_s("2026-07-18T21:45:00+02:00"), abs=900.0)
