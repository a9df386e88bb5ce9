"""What rain takes from the downlink, against ITU-R P.618 and a reference library's P.838."""

from dataclasses import replace

import pytest
from itur.models import itu838

from agent.planning.compute import compute_plan
from agent.records import Weather
from agent.watch.rain import VIOLENT_RAIN_MM_H, rain_loss_db
from agent.watch.weather_watch import WeatherWatch
from tests.simulate.jobs import PLACES, job_of
from tests.watch.sample_day import at, plan

LONGEST_PATH_KM = 10.0  # under a rain height of 5 km, seen from 30 degrees up (ITU-R P.839 in the tropics)


def test_rain_attenuates_and_radiates_noise() -> None:
    """6 dB at 275 K add 206 K to 110 K: 4.6 dB more, by ITU-R P.618-14 section 3 (from memory)."""
    assert rain_loss_db(40.0, plan()) == pytest.approx(6.0 + 4.58, abs=0.01)


def test_no_rain_takes_nothing_and_the_satellites_receiver_is_refused() -> None:
    base = plan()
    assert rain_loss_db(0.0, base) == 0.0
    with pytest.raises(ValueError, match="receiver is missing"):
        rain_loss_db(10.0, replace(base, downlink=replace(base.downlink, system_noise_k=None)))


def test_at_c_band_even_violent_rain_takes_little() -> None:
    """ITU-R P.838-3 (itur 0.4.0) over the longest path under a tropical rain height, and its noise."""
    job = job_of(PLACES["lagoon"], "C", "2026-05-05T09:00:00", 3.0)
    found = compute_plan(job)
    assert found.downlink.system_noise_k is not None
    attenuation_db = LONGEST_PATH_KM * float(
        itu838.rain_specific_attenuation(
            VIOLENT_RAIN_MM_H, job.downlink.frequency_ghz, found.pointing.elevation_deg, 45.0
        ).value
    )
    added_k = 275.0 * (1.0 - 10.0 ** (-attenuation_db / 10.0))
    most_db = attenuation_db + 10.0 * added_k / found.downlink.system_noise_k / 2.3  # ln(1 + x) <= x
    assert 0.3 < rain_loss_db(VIOLENT_RAIN_MM_H, found) < most_db


def test_a_gauge_that_is_seldom_read_stands_until_it_says_that_it_is_dry() -> None:
    sky = WeatherWatch()
    for minute, rain_mm_h in ((0.0, 0.0), (30.0, 0.0), (60.0, 6.3)):
        sky.add(Weather(unix_s=at(minute), rain_mm_h=rain_mm_h))
    assert sky.rain_seen(at(85.0))
    assert not sky.rain_seen(at(120.0))
    sky.add(Weather(unix_s=at(90.0), rain_mm_h=0.0))
    assert not sky.rain_seen(at(90.0))
