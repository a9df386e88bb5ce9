"""Cumulated sunshine: what counts as sunshine and when the count starts anew."""

import pytest

from agent.heat.exposure import Exposure, Sun, clear_sun, sun_under_cloud
from agent.link_plan import Sunshine

NOON = Sun(850.0, 900.0)
SUNSHINE = Sunshine(
    start_unix_s=0.0,
    step_s=300.0,
    direct_normal_w_m2=(0.0, 100.0, 300.0),
    global_horizontal_w_m2=(0.0, 200.0, 400.0),
)


@pytest.mark.parametrize(("direct_w_m2", "shining"), [(119.0, False), (120.0, False), (121.0, True)])
def test_sunshine_is_direct_beam_over_120_w_m2(direct_w_m2: float, shining: bool) -> None:
    """WMO-No. 8 (Guide to Instruments and Methods of Observation), chapter 8 (from memory)."""
    assert Sun(direct_w_m2, 500.0).shining is shining


@pytest.mark.parametrize(("cloud_percent", "share"), [(0.0, 1.0), (50.0, 0.929), (100.0, 0.25)])
def test_global_irradiance_under_cloud(cloud_percent: float, share: float) -> None:
    """Kasten and Czeplak, Solar Energy 24 (1980): 1 - 0.75 c^3.4, worked by hand (0.5^3.4 = 0.0947)."""
    assert sun_under_cloud(NOON, cloud_percent, None).global_w_m2 == pytest.approx(900.0 * share, rel=1e-3)


def test_a_measured_irradiance_outvotes_the_cloud_cover() -> None:
    assert sun_under_cloud(NOON, 0.0, 180.0) == Sun(0.0, 180.0)
    assert sun_under_cloud(NOON, 100.0, 880.0).shining


def test_clear_sky_is_interpolated_within_the_plan_and_unknown_outside() -> None:
    assert clear_sun(SUNSHINE, 150.0) == Sun(50.0, 100.0)
    assert clear_sun(SUNSHINE, 450.0) == Sun(200.0, 300.0)
    assert clear_sun(SUNSHINE, -1.0) is None
    assert clear_sun(SUNSHINE, 600.0) is None


def test_only_unshaded_sunshine_counts() -> None:
    one = Exposure()
    one.add(3600.0, NOON)
    one.shade(3600.0, True)
    one.add(3600.0, NOON)
    one.shade(7200.0, False)
    one.add(1800.0, NOON)
    one.add(1800.0, Sun(0.0, 150.0))
    assert one.seconds == 5400.0


def test_a_night_starts_the_count_anew_and_a_dark_cloud_does_not() -> None:
    one = Exposure()
    one.add(3600.0, NOON)
    one.add(3.9 * 3600.0, Sun(0.0, 0.0))
    one.add(10.0, Sun(0.0, 1.0))
    one.add(3.9 * 3600.0, Sun(0.0, 0.0))
    assert one.seconds == 3600.0
    one.add(0.2 * 3600.0, Sun(0.0, 0.0))
    assert one.seconds == 0.0
