"""Loss of a sun pass over time, as the live watch asks for it."""

from math import isnan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.link_plan import SUN_PASS_THRESHOLD_DB, SunPass
from agent.plan.geometry import look_angles
from agent.plan.sun import sun_angles_deg, sun_passes
from agent.plan.sun_noise import BeamNoise, sun_loss_db
from agent.sun_pass import sun_pass_loss_db
from tests.plan.sample_job import site, unix_s

DISH = BeamNoise(beamwidth_deg=1.87, frequency_ghz=11.45, gain_dbi=39.3, system_noise_k=110.0)
PASS = SunPass(start_unix_s=1000.0, peak_unix_s=1600.0, end_unix_s=2300.0, depth_db=7.0)


def test_bell_through_start_peak_and_end() -> None:
    assert sun_pass_loss_db((PASS,), 1600.0) == pytest.approx(7.0)
    assert sun_pass_loss_db((PASS,), 1000.0) == pytest.approx(SUN_PASS_THRESHOLD_DB)
    assert sun_pass_loss_db((PASS,), 2300.0) == pytest.approx(SUN_PASS_THRESHOLD_DB)


def test_nothing_far_away_or_without_passes() -> None:
    assert sun_pass_loss_db((), 1600.0) == 0.0
    assert sun_pass_loss_db((PASS,), 20_000.0) == pytest.approx(0.0, abs=1e-12)
    assert isnan(sun_pass_loss_db((PASS,), float("nan")))


def test_a_pass_no_deeper_than_the_threshold_counts_for_nothing() -> None:
    shallow = SunPass(
        start_unix_s=1000.0, peak_unix_s=1000.0, end_unix_s=1000.0, depth_db=SUN_PASS_THRESHOLD_DB
    )
    assert sun_pass_loss_db((shallow,), 1000.0) == 0.0


def test_the_nearest_of_many_passes_counts() -> None:
    passes = tuple(
        SunPass(start_unix_s=t - 500.0, peak_unix_s=t, end_unix_s=t + 500.0, depth_db=1.0 + i)
        for i, t in enumerate(range(0, 20 * 86_400, 86_400))
    )
    for i in (0, 7, 19):
        assert sun_pass_loss_db(passes, i * 86_400.0) == pytest.approx(1.0 + i)


@given(st.floats(0.0, 1300.0), st.floats(0.0, 1300.0))
def test_property_loss_falls_away_from_the_peak(near_s: float, far_s: float) -> None:
    near_s, far_s = sorted((near_s, far_s))
    for sign in (-1.0, 1.0):
        near, far = (sun_pass_loss_db((PASS,), 1600.0 + sign * offset) for offset in (near_s, far_s))
        assert far <= near <= 7.0 + 1e-9


def test_bell_agrees_with_the_beam_all_through_real_passes() -> None:
    # The loss by the sun's position and the beam, every 20 s through a season: a Gaussian beam crossed at a
    # steady rate gives the bell, the disc's width and the sun's path bend it by less than 0.15 dB.
    place = site(37.25, -6.95)
    angles = look_angles(place.latitude_deg, place.longitude_deg, 0.0, 8.0)
    span = unix_s("2026-02-01T00:00:00+00:00"), unix_s("2026-04-15T00:00:00+00:00")
    passes = sun_passes(place, 8.0, DISH, *span)
    for one in passes:
        moments = np.arange(one.start_unix_s, one.end_unix_s, 20.0)
        azimuth, elevation = (np.radians(value) for value in sun_angles_deg(place, moments))
        el, az = np.radians(angles.elevation_deg), np.radians(angles.azimuth_true_deg)
        cosine = np.sin(elevation) * np.sin(el) + np.cos(elevation) * np.cos(el) * np.cos(azimuth - az)
        direct_db = sun_loss_db(DISH, np.degrees(np.arccos(np.minimum(cosine, 1.0))))
        bell_db = [sun_pass_loss_db(passes, float(moment)) for moment in moments]
        assert bell_db == pytest.approx(direct_db, abs=0.15)
