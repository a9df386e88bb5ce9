"""The simulator against published values, and what any day of it must be."""

import gzip
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from itur.models import itu838

from agent.job import Site
from agent.plan.plan_json import plan_to_json
from agent.planning.compute import compute_plan
from agent.records import JsonValue, Note, Signal, Temperature, Throughput
from agent.replay.sessions import BUNDLED, PLAN_FILE, read_session, write_session
from tests.reference import Case, cases
from tests.simulate.__main__ import COMPRESS_ABOVE_BYTES
from tests.simulate.bundled import bundled_days
from tests.simulate.day import SimulatedDay, simulate_day
from tests.simulate.jobs import PLACES, Band, job_of
from tests.simulate.physics import physical_day
from tests.simulate.scenario import Crew, Mispoint, Scenario, Sensors
from tests.simulate.scenarios import HEAVY_RAIN_MM_H, RAIN_DB, random_scenario
from tests.simulate.sky import (
    SkyKind,
    clear_direct_w_m2,
    satellite_angles,
    separation_deg,
    sun_angles_deg,
)
from tests.simulate.terminal import (
    Hardware,
    combined_db,
    heat_of,
    link_of,
    pointing_error_deg,
    pointing_loss_db,
    rain_loss_db,
    rain_scale,
    sun_loss_db,
)

MILD = SkyKind(air_low_degc=10.0, air_high_degc=20.0, cloud_fraction=0.0, wind_m_s=2.0, humidity_percent=50.0)


def site_at(inputs: dict[str, float]) -> Site:
    """The site of a published case."""
    return Site(
        name="case",
        latitude_deg=inputs["lat_deg"],
        longitude_deg=inputs["lon_deg"],
        height_m=inputs.get("height_m", 0.0),
        time_zone="UTC",
    )


def scenario(**changes: object) -> Scenario:
    """A plain short day, with changes."""
    plain = Scenario(
        name="plain",
        title="plain",
        story="plain",
        job=job_of(PLACES["salt-pan"], "Ku", "2026-05-05T09:00:00", 3.0),
        sky=MILD,
        crew=Crew(shade_at_s=600.0, stream_start_s=1200.0),
    )
    return replace(plain, **changes)  # type: ignore[arg-type]


# Computed with skyfield 1.55 and DE421, astropy and pvlib agreeing (reference/sun_position.json). The low
# precision formulas are good to 0.02 degrees; directions are compared on the sky, not along the horizon.
@pytest.mark.parametrize(
    "case", [c for c in cases("sun_position", having="elevation_deg") if "lat_deg" in c["inputs"]]
)
def test_sun_position(case: Case) -> None:
    moment = datetime.fromisoformat(str(case["inputs"]["utc"])).timestamp()
    expected = case["expected"]
    azimuth, elevation = sun_angles_deg(np.array([moment]), site_at(case["inputs"]))
    away = separation_deg(azimuth, elevation, expected["azimuth_deg"], expected["elevation_deg"])
    assert away[0] < 0.03


# Ellipsoid and satellite at 42,164.0 km, computed with pymap3d and skyfield (reference/geo_look_angles.json).
@pytest.mark.parametrize(
    "case", [case for case in cases("geo_look_angles", having="height_m") if "range_km" in case["expected"]]
)
def test_satellite_direction(case: Case) -> None:
    expected, inputs = case["expected"], case["inputs"]
    azimuth, elevation, distance_m = satellite_angles(site_at(inputs), inputs["sat_lon_deg"])
    assert azimuth == pytest.approx(expected["azimuth_true_deg"], abs=0.02)
    assert elevation == pytest.approx(expected["elevation_deg"], abs=0.02)
    assert distance_m / 1000.0 == pytest.approx(expected["range_km"], abs=0.5)


def test_clear_sun_is_of_the_known_strength() -> None:
    # Air mass 1.5 (sun 41.8 degrees up): 1,000 W/m2 is the standard test condition of photovoltaics, of which
    # ASTM G173 gives 900 to the direct beam (from memory); Meinel's formula is good to about a tenth.
    assert clear_direct_w_m2(np.array([41.8]))[0] == pytest.approx(900.0, rel=0.1)
    assert clear_direct_w_m2(np.array([-1.0]))[0] == 0.0


def test_pointing_loss_is_three_db_at_half_the_beamwidth_and_has_an_inverse() -> None:
    # By definition of the half-power beamwidth.
    assert pointing_loss_db(np.array([0.75]), 1.5)[0] == pytest.approx(3.0, abs=0.02)
    assert pointing_loss_db(np.array([pointing_error_deg(1.8, 1.5)]), 1.5)[0] == pytest.approx(1.8)


def test_rain_hurts_the_uplink_more_and_the_downlink_twice() -> None:
    # At Ku band 14 over 11.5 GHz the ratio of attenuations is about the square of the frequencies (common
    # practice), and 3 dB of rain add some 137 K of 275 K to a receiver's noise.
    assert rain_scale(11.5, 14.0) == pytest.approx((14.0 / 11.5) ** 2, rel=0.1)
    assert rain_loss_db(np.array([3.0103]), 137.5)[0] == pytest.approx(3.0103 + 3.0103, abs=0.01)


@pytest.mark.parametrize(("band", "frequency_ghz"), [("C", 3.95), ("Ku", 11.45), ("Ka", 19.95)])
def test_heavy_rain_takes_what_its_rate_takes_at_this_band(band: Band, frequency_ghz: float) -> None:
    # ITU-R P.838-3 (itur 0.4.0) over 3 to 6 km of rain, as common showers have it.
    one_km_db = float(
        itu838.rain_specific_attenuation(HEAVY_RAIN_MM_H[band], frequency_ghz, 45.0, 45.0).value
    )
    assert 3.0 * one_km_db < RAIN_DB[band][1] < 6.0 * one_km_db


def test_at_c_band_the_uplink_lies_above_the_dip_of_rain_attenuation() -> None:
    # ITU-R P.838-3 (itur 0.4.0) at 40 mm/h.
    down_db, up_db = (
        float(itu838.rain_specific_attenuation(40.0, frequency_ghz, 45.0, 45.0).value)
        for frequency_ghz in (3.95, 6.175)
    )
    assert rain_scale(3.95, 6.175) == pytest.approx(up_db / down_db, rel=0.1)


@pytest.mark.parametrize(
    ("place", "band"),
    [("salt-pan", "Ku"), ("plateau", "Ku"), ("fjord", "Ku"), ("lagoon", "C"), ("mangrove", "Ka")],
)
def test_carriers_are_those_of_the_plan(place: str, band: Band) -> None:
    # The plan follows ITU-R; the simulator's rougher budget must agree within what a crew calls the same.
    job = job_of(PLACES[place], band, "2026-05-05T09:00:00", 3.0)
    link, plan = link_of(job, Hardware()), compute_plan(job)
    down = combined_db(np.array([link.down_esno_db]), job.downlink.interference_cn_db)[0]
    up = combined_db(np.array([link.up_esno_db]), job.uplink.interference_cn_db)[0]
    assert down == pytest.approx(plan.downlink.esno_clear_db, abs=0.7)
    # The simulated terminal loses as much up as down; the plan counts the uplink's narrower beam.
    narrower_db = plan.uplink.pointing_loss_db - job.antenna.pointing_loss_db
    assert up == pytest.approx(plan.uplink.esno_clear_db + narrower_db, abs=0.7)
    assert link.down_beam_deg == pytest.approx(plan.downlink.beamwidth_deg, rel=0.05)


def test_sun_pass_comes_when_the_plan_says() -> None:
    day = bundled_days()["plateau-sun-pass"]
    found = physical_day(day.scenario, np.random.default_rng(1))
    planned = compute_plan(day.scenario.job).sun_passes
    assert len(planned) == 1
    assert found.unix_s[int(np.argmax(found.sun_db))] == pytest.approx(planned[0].peak_unix_s, abs=30.0)
    assert found.sun_db.max() == pytest.approx(planned[0].depth_db, abs=1.0)
    other = physical_day(scenario(), np.random.default_rng(1))
    assert sun_loss_db(other.sky, other.link, 11.45, 1.0).max() < 0.01


def test_heat_settles_where_the_balance_is() -> None:
    day = physical_day(scenario(), np.random.default_rng(3))
    count = 40_000
    still = np.zeros(count)
    sky = replace(
        day.sky,
        direct_w_m2=np.full(count, 900.0),
        diffuse_w_m2=np.full(count, 100.0),
        air_degc=np.full(count, 30.0),
        wind_m_s=still,
    )
    hardware = Hardware(sun_rise_k=10.0, loss_rise_k=5.0, heating_tau_s=1500.0, shade_share=0.2)
    on = np.ones(count)
    bare = heat_of(sky, still, on, hardware, 90.0).transmitter_degc
    shaded = heat_of(sky, on, on, hardware, 90.0).transmitter_degc
    # In still air the rises are a fifth larger: 30 + 1.2 * (10 * 0.87 + 5), and with a fifth of the sun.
    assert bare[-1] == pytest.approx(30.0 + 1.2 * (8.7 + 5.0), abs=0.05)
    assert shaded[-1] == pytest.approx(30.0 + 1.2 * (0.2 * 8.7 + 5.0), abs=0.05)
    # One time constant brings 63 % of the way.
    assert (bare[1500] - bare[0]) / (bare[-1] - bare[0]) == pytest.approx(1.0 - math.exp(-1.0), abs=0.01)


def test_a_gust_costs_what_it_should_and_peaking_gives_it_back() -> None:
    gust = Mispoint(how="gust", at_s=5000.0, loss_db=2.0, mended_after_s=1200.0)
    day = simulate_day(scenario(episodes=(gust,)), 5)
    start = day.scenario.job.day.start_unix_s
    level = {
        name: np.mean(
            [r.esno_db for r in day.readings if isinstance(r, Signal) and a <= r.unix_s - start < b]
        )
        for name, (a, b) in {"before": (4000, 4900), "gone": (5010, 6190), "back": (6500, 7500)}.items()
    }
    # The interference in the carrier swallows some of the 2 dB.
    assert 1.2 < level["before"] - level["gone"] < 2.1
    assert level["back"] == pytest.approx(level["before"], abs=0.3)
    assert [(x.cause, x.start_unix_s - start, x.end_unix_s - start) for x in day.labels] == [
        ("mispoint", 5000.0, 6440.0)
    ]
    notes = [note.kind for note in day.readings if isinstance(note, Note)]
    assert notes[-3:] == ["peak-start", "peak-done", "stream-stop"]


def test_a_levelled_uplink_shows_in_the_sent_power_what_it_loses() -> None:
    """Closed-loop uplink power control holds the uplink while its range lasts: ITU-R S.1061 (from memory)."""
    gust = Mispoint(how="gust", at_s=5000.0, loss_db=2.0, mended_after_s=1200.0)
    sensors = Sensors(transmit_power_reported=True)
    lost_db, more_db = {}, {}
    for range_db in (0.0, 1.0, 8.0):
        hardware = Hardware(drift_db=0.0, levelling_db=range_db)
        day = simulate_day(scenario(episodes=(gust,), sensors=sensors, hardware=hardware), 5)
        start = day.scenario.job.day.start_unix_s
        signals = [reading for reading in day.readings if isinstance(reading, Signal)]
        before = [r for r in signals if 4000 <= r.unix_s - start < 4900]
        gone = [r for r in signals if 5010 <= r.unix_s - start < 6190]
        lost_db[range_db], more_db[range_db] = (
            mean_of(before, name) - mean_of(gone, name) for name in ("uplink_esno_db", "tx_power_dbm")
        )
    assert lost_db[8.0] == pytest.approx(0.0, abs=0.1)
    assert more_db[0.0] == 0.0
    # 12 (error / beamwidth)^2: the loss grows with the square of the frequency.
    assert -more_db[8.0] == pytest.approx(2.0 * (14.0 / 11.45) ** 2, abs=0.6)
    assert lost_db[0.0] > lost_db[1.0] > 0.5


def mean_of(readings: Sequence[Signal], name: str) -> float:
    return float(np.mean([getattr(reading, name) for reading in readings]))


def test_sensors_round_as_modems_do() -> None:
    seen = {
        quality: simulate_day(scenario(sensors=Sensors(quality=quality)), 2).readings
        for quality in ("percent", "five")
    }
    percents = {r.quality_percent for r in seen["percent"] if isinstance(r, Signal)}
    fives = {r.quality_percent for r in seen["five"] if isinstance(r, Signal)}
    assert all(value is not None and value == round(value) for value in percents)
    assert fives <= {0.0, 20.0, 40.0, 60.0, 80.0, 100.0}
    assert all(r.esno_db is None for rows in seen.values() for r in rows if isinstance(r, Signal))


def test_one_flow_is_bound_by_its_window() -> None:
    # RFC 6349 section 3.3.1: throughput is at most window over round-trip time.
    day = simulate_day(scenario(sensors=Sensors(flows=1, window_bytes=65_535, test_step_s=600.0)), 2)
    tests = [r for r in day.readings if isinstance(r, Throughput) and r.method == "active"]
    assert len(tests) > 10
    for test in tests:
        assert test.down_mbps is not None
        assert test.rtt_ms is not None
        assert test.down_mbps <= 65_535 * 8 / test.rtt_ms / 1000.0 * 1.1


def test_same_seed_same_day_and_another_seed_another() -> None:
    one, again, other = (simulate_day(random_scenario(41), seed) for seed in (7, 7, 8))
    assert one == again
    assert one.readings != other.readings


@pytest.mark.parametrize("seed", range(12))
def test_any_day_is_in_order_within_its_hours_and_honestly_labelled(seed: int) -> None:
    day = simulate_day(random_scenario(seed), seed)
    job = day.scenario.job
    times = [reading.unix_s for reading in day.readings]
    assert all(a <= b for a, b in pairwise(times))
    assert job.day.start_unix_s <= times[0] <= times[-1] <= job.day.end_unix_s
    for label in day.labels:
        assert job.day.start_unix_s <= label.start_unix_s <= label.end_unix_s <= job.day.end_unix_s
    if not day.scenario.episodes:
        assert {label.cause for label in day.labels} <= {"sun-pass", "overheat"}


def test_random_days_cover_every_cause_band_and_half_of_the_earth() -> None:
    days = [random_scenario(seed) for seed in range(200)]
    kinds = {type(episode).__name__ for day in days for episode in day.episodes}
    assert {"Mispoint", "Rain", "Blockage", "LanTrouble", "Congestion", "Outage", "Reboot"} <= kinds
    assert {"StuckSensor", "MissingInput", "ClockJump", "LateBurst", "Duplicates"} <= kinds
    assert {day.job.downlink.frequency_ghz for day in days} == {3.95, 11.45, 19.95}
    assert {day.job.site.latitude_deg > 0.0 for day in days} == {True, False}
    assert {day.sensors.quality for day in days} == {"esno", "cn", "percent", "five"}
    assert 0.1 < sum(not day.episodes for day in days) / len(days) < 0.5


def bundled(name: str) -> SimulatedDay:
    """A bundled day, simulated again."""
    day = bundled_days()[name]
    return simulate_day(day.scenario, day.seed)


@pytest.mark.parametrize("name", ["salt-pan-summer", "quiet-poor-sensors"])
def test_bundled_days_are_written_again_byte_for_byte(tmp_path: Path, name: str) -> None:
    write_session(tmp_path / name, bundled(name).session(), COMPRESS_ABOVE_BYTES)
    written, kept = contents(tmp_path / name), contents(BUNDLED / name)
    assert kept.pop(PLAN_FILE)  # computed, and so the same but for the last digits on another machine
    assert written == kept


def test_bundled_plans_are_those_that_are_computed_now() -> None:
    """To renew them: python -m tests.simulate replay_data."""
    day = read_session(BUNDLED / "salt-pan-summer")
    assert day.plan is not None
    assert_same(plan_to_json(day.plan), plan_to_json(compute_plan(day.job)))


def assert_same(kept: JsonValue, computed: JsonValue) -> None:
    """The same tree but for the last digits of its numbers."""
    if isinstance(kept, dict) and isinstance(computed, dict):
        assert kept.keys() == computed.keys()
        for key, value in kept.items():
            assert_same(value, computed[key])
    elif isinstance(kept, list) and isinstance(computed, list):
        assert len(kept) == len(computed)
        for one, other in zip(kept, computed, strict=True):
            assert_same(one, other)
    elif isinstance(kept, float) and isinstance(computed, float):
        assert kept == pytest.approx(computed, rel=1e-6, abs=1e-9)
    else:
        assert kept == computed


@pytest.mark.parametrize("name", bundled_days())
def test_every_bundled_day_brings_its_plan(name: str) -> None:
    assert read_session(BUNDLED / name).plan is not None


def contents(folder: Path) -> dict[str, bytes]:
    """The files' bytes, unpacked: builds of zlib pack the same bytes differently."""
    return {
        path.name: gzip.decompress(path.read_bytes()) if path.suffix == ".gz" else path.read_bytes()
        for path in folder.iterdir()
    }


def test_bundled_days_are_small_invented_and_told() -> None:
    days = bundled_days()
    assert {path.name for path in BUNDLED.iterdir()} == set(days)
    sizes = {name: sum(path.stat().st_size for path in (BUNDLED / name).iterdir()) for name in days}
    assert max(sizes.values()) < 3_000_000
    assert sum(sizes.values()) < 12_000_000
    assert all(re.search(r"\w{20,}|\w+ \w+ \w+", day.scenario.story) for day in days.values())
    assert sum((BUNDLED / name / "labels.csv").read_text().count("\n") == 1 for name in days) == 2


def test_the_crew_shades_before_the_limit_on_the_demonstration_day() -> None:
    day = bundled("salt-pan-summer")
    assert day.limit_unix_s is not None
    shaded = next(r.unix_s for r in day.readings if isinstance(r, Note) and r.kind == "shade-on")
    hottest = max(
        r.temperature_degc for r in day.readings if isinstance(r, Temperature) and r.where == "transmitter"
    )
    assert shaded < day.limit_unix_s
    assert hottest < day.scenario.job.transmitter.limit_degc
    assert [label.cause for label in day.labels] == ["overheat", "mispoint"]
