"""The budgets of a job: every item enters once, rates follow, and better inputs never make it worse."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.job import Job
from agent.link_plan import Budget
from agent.plan.budget import availability_curve, budget, directions, unavailability_percent
from agent.plan.findings import carried_rates, link_findings, verdict
from agent.plan.links import View, clear_state, downlink, faded_state, tilt_deg, uplink
from agent.plan.propagation import attenuation, clear_sky_gas_db
from agent.plan.what_if import range_at_elevation_km, smaller_dish, what_ifs
from tests.plan.sample_job import job as sample_job
from tests.reference import cases

VIEW = View(elevation_deg=44.05, slant_range_km=37473.1, feed_rotation_deg=-18.86, radiating_k=273.3)


def budgets(job: Job, view: View = VIEW) -> tuple[Budget, Budget]:
    """Downlink and uplink."""
    down, up = directions(job, view)
    return budget(job, down), budget(job, up)


def with_interference(job: Job, down_db: float | None, up_db: float | None) -> Job:
    """The job with these carrier-to-interference ratios."""
    return replace(
        job,
        downlink=replace(job.downlink, interference_cn_db=down_db),
        uplink=replace(job.uplink, interference_cn_db=up_db),
    )


def test_reference_uplink_by_hand() -> None:
    # Gain of 0.98 m at 14.25 GHz with 62 % is 41.231 dBi, loss over 38,000 km 207.12 dB (definitions, see the
    # reference file); 8 W is 9.031 dBW, a 3 deg feed error 0.012 dB, k -228.599 dBW/Hz/K, 1.5 Msps
    # 61.761 dBHz: EIRP 9.031 - 1 - 0.3 + 41.231 = 48.962; the error that costs 0.3 dB at 11.45 GHz costs
    # 0.3 (14.25 / 11.45)^2 = 0.465 dB; Es/N0 without gas 48.962 - 207.12 - 0.477 + 4 + 228.599 - 61.761
    # = 12.203.
    dish = next(case for case in cases("antenna_link_budget") if case["inputs"].get("D_m") == 0.98)
    assert dish["expected"]["G_dBi"] == 41.231
    base = sample_job()
    job = replace(base, uplink=replace(base.uplink, frequency_ghz=14.25))
    _, up = budgets(job, replace(VIEW, slant_range_km=38000.0))
    assert up.eirp_dbw == pytest.approx(48.962, abs=0.002)
    assert up.esno_clear_db + up.gas_clear_db == pytest.approx(12.203, abs=0.005)
    # With 0.1 dB of gas 16APSK 4/5 closes, which needs 11.03 dB and the modem 1 dB more (EN 302 307-1 table
    # 13): 3.165623 bits at 1.5 Msps. The booked 4 Mbit/s need 16APSK 3/4, 10.21 dB.
    assert up.modcod_clear == "16APSK 4/5" and up.rate_clear_mbps == pytest.approx(4.748, abs=0.001)
    assert up.required_esno_db == pytest.approx(11.21)
    assert up.margin_db == pytest.approx(up.esno_clear_db - 11.21)


def test_reference_downlink_by_hand() -> None:
    # Behind 0.2 dB of feed (a share of 0.955) at 290 K: 75 + 290 * 0.045 + 0.955 * (20.3 + 0.93 * sky); the
    # sky is 2.7 K through g dB of gas at 273.3 K (P.618-13 eq. 69). G/T = 39.331 - 0.2 - 10 log T.
    down, _ = budgets(sample_job())
    through = 10.0 ** (-down.gas_clear_db / 10.0)
    sky_k = 273.3 * (1.0 - through) + 2.7 * through
    feed = 10.0**-0.02
    noise_k = 75.0 + 290.0 * (1.0 - feed) + feed * (0.07 * 290.0 + 0.93 * sky_k)
    assert down.system_noise_k == pytest.approx(noise_k, abs=1e-6)
    gain_dbi = 20.0 * np.log10(np.pi * 0.98 * 11.45e9 / 299_792_458.0) + 10.0 * np.log10(0.62)
    assert down.gt_dbk == pytest.approx(gain_dbi - 0.2 - 10.0 * np.log10(noise_k), abs=1e-6)
    loss_db = 20.0 * np.log10(4.0 * np.pi * 37473.1e3 * 11.45e9 / 299_792_458.0)
    feed_error_db = -20.0 * np.log10(np.cos(np.radians(3.0)))
    cn0 = 50.0 - loss_db - 0.3 - feed_error_db - down.gas_clear_db + down.gt_dbk + 228.5991672
    assert down.cn0_dbhz == pytest.approx(cn0, abs=1e-6)
    assert down.esno_clear_db == pytest.approx(cn0 - 10.0 * np.log10(5e6), abs=1e-6)


def test_rain_costs_signal_and_noise_on_the_downlink_and_signal_on_the_uplink() -> None:
    down, up = budgets(sample_job())
    assert down.system_noise_faded_k is not None and down.system_noise_k is not None
    noise_rise_db = 10.0 * np.log10(down.system_noise_faded_k / down.system_noise_k)
    lost_db = down.esno_clear_db - down.esno_faded_db
    assert lost_db == pytest.approx(down.fade_db - down.gas_clear_db + noise_rise_db, abs=1e-9)
    assert up.esno_clear_db - up.esno_faded_db == pytest.approx(up.fade_db - up.gas_clear_db, abs=1e-9)
    assert up.system_noise_k is None and up.gt_faded_dbk == up.gt_dbk == 4.0


def test_interference_adds_to_the_noise() -> None:
    # Ratios of 18.7 dB and 20 dB together are 16.3 dB: 1 / (10^-1.87 + 10^-2).
    clean, _ = budgets(with_interference(sample_job(), None, None))
    disturbed, up = budgets(with_interference(sample_job(), 20.0, 22.0))
    together = 1.0 / (10.0 ** (-clean.esno_clear_db / 10.0) + 10.0**-2.0)
    assert disturbed.esno_clear_db == pytest.approx(10.0 * np.log10(together), abs=1e-9)
    assert disturbed.cn0_dbhz == clean.cn0_dbhz
    # What disturbs the uplink does not fade with it.
    assert up.esno_clear_db - up.esno_faded_db == pytest.approx(up.fade_db - up.gas_clear_db, abs=1e-9)


@pytest.mark.parametrize(
    ("polarisation", "rotation_deg", "expected_deg"),
    [
        ("horizontal", 20.0, 20.0),
        ("vertical", -20.0, 70.0),
        ("vertical", 0.0, 90.0),
        ("circular", 33.0, 45.0),
    ],
)
def test_tilt_of_the_polarisation(polarisation: str, rotation_deg: float, expected_deg: float) -> None:
    # P.838-3: the tilt counts from the horizontal, 45 deg stands for circular.
    assert tilt_deg(polarisation, rotation_deg) == expected_deg


def test_gains_of_the_data_sheet_replace_the_aperture() -> None:
    base = sample_job()
    dish = replace(base.antenna, efficiency=None, receive_gain_dbi=39.0, transmit_gain_dbi=41.5)
    down, up = budgets(replace(base, antenna=dish))
    assert (down.antenna_gain_dbi, up.antenna_gain_dbi) == (39.0, 41.5)


def faded_esno_db(job: Job, view: View) -> list[float]:
    """Es/N0 of downlink and uplink at the job's availability."""
    found = []
    for link in (downlink(job, view), uplink(job, view)):
        sky = attenuation(link.path, np.array([unavailability_percent(job)]))
        found.append(float(faded_state(link, clear_sky_gas_db(link.path), sky).esno_db[0]))
    return found


Change = Callable[[Job, float], Job]
WORSE: dict[str, Change] = {
    "pointing loss": lambda job, by: replace(
        job, antenna=replace(job.antenna, pointing_loss_db=job.antenna.pointing_loss_db + by)
    ),
    "smaller dish": lambda job, by: replace(
        job, antenna=replace(job.antenna, diameter_m=job.antenna.diameter_m / (1.0 + by / 10.0))
    ),
    "lower efficiency": lambda job, by: replace(
        job, antenna=replace(job.antenna, efficiency=0.62 / (1.0 + by))
    ),
    "higher availability": lambda job, by: replace(
        job, service=replace(job.service, availability_percent=99.5 + by / 20.0)
    ),
    "more interference": lambda job, by: with_interference(job, 20.0 - by, 22.0 - by),
    "noisier receiver and less G/T": lambda job, by: replace(
        job,
        receiver=replace(job.receiver, noise_temperature_k=75.0 + 20.0 * by),
        uplink=replace(job.uplink, satellite_gt_dbk=4.0 - by),
    ),
    "longer feeds": lambda job, by: replace(
        job,
        receiver=replace(job.receiver, feed_loss_db=0.2 + by),
        transmitter=replace(job.transmitter, feed_loss_db=0.3 + by),
    ),
    "less power": lambda job, by: replace(
        job,
        downlink=replace(job.downlink, eirp_dbw=50.0 - by),
        transmitter=replace(job.transmitter, power_w=8.0 / (1.0 + by)),
    ),
    "more back-off": lambda job, by: replace(
        job,
        downlink=replace(job.downlink, eirp_dbw=50.0 - by),
        transmitter=replace(job.transmitter, output_back_off_db=1.0 + by),
    ),
    "wider carrier": lambda job, by: replace(
        job,
        downlink=replace(job.downlink, symbol_rate_msps=5.0 * (1.0 + by)),
        uplink=replace(job.uplink, symbol_rate_msps=1.5 * (1.0 + by)),
    ),
}


@pytest.mark.parametrize("name", WORSE)
def test_each_input_is_monotone(name: str) -> None:
    job = with_interference(sample_job(), 20.0, 22.0)
    steps = np.array([faded_esno_db(WORSE[name](job, by), VIEW) for by in (0.2, 1.0, 3.0)])
    assert np.all(np.diff(steps, axis=0) < 0.0)


def test_lower_satellite_is_never_better() -> None:
    faded = []
    for elevation_deg in (60.0, 45.0, 30.0, 20.0, 10.0, 5.0):
        seen = replace(VIEW, elevation_deg=elevation_deg, slant_range_km=range_at_elevation_km(elevation_deg))
        faded.append(faded_esno_db(sample_job(), seen))
    assert np.all(np.diff(np.array(faded), axis=0) < 0.0)


def test_reference_range_at_elevation() -> None:
    # 35,786 km at the zenith; 41,679 km at the horizon: sqrt(42,164^2 - 6,378^2) (spherical earth).
    assert range_at_elevation_km(90.0) == pytest.approx(35786.0, abs=1.0)
    assert range_at_elevation_km(0.0) == pytest.approx(41679.0, abs=1.0)


def test_satellite_below_the_horizon_has_no_link() -> None:
    job = sample_job()
    down, up = budgets(job, replace(VIEW, elevation_deg=-4.0))
    for one in (down, up):
        assert np.isnan(one.esno_clear_db) and np.isnan(one.esno_faded_db) and np.isnan(one.margin_db)
        assert one.modcod_clear is None and one.rate_clear_mbps == one.rate_faded_mbps == 0.0


def test_availability_is_where_the_es_n0_crosses() -> None:
    job = sample_job()
    _, up = budgets(job)
    at_limit = replace(job, service=replace(job.service, availability_percent=up.availability_booked_percent))
    _, there = budgets(at_limit)
    # Rounded down to 0.001 %, so that the margin there is never negative.
    assert 0.0 <= there.margin_faded_db < 0.02
    assert up.availability_closes_percent > up.availability_booked_percent
    greedy = replace(job, service=replace(job.service, up_mbps=20.0))
    assert np.isnan(budgets(greedy)[1].availability_booked_percent)


@given(st.floats(90.0, 99.999))
def test_property_availabilities_never_contradict_the_budget(availability_percent: float) -> None:
    # "0.00 Mbit/s at 99.999 %" never stands beside "some link for 99.999 % of a year".
    plain = sample_job()
    weak = replace(plain, transmitter=replace(plain.transmitter, power_w=0.5))
    job = replace(weak, service=replace(weak.service, availability_percent=availability_percent))
    for one in budgets(job):
        if one.modcod_faded is None:
            assert not one.availability_closes_percent >= round(availability_percent, 3)
        if one.margin_faded_db < 0.0:
            assert not one.availability_booked_percent >= round(availability_percent, 3)


def test_curve_falls_from_90_percent_on() -> None:
    job = sample_job()
    curve = availability_curve(*directions(job, VIEW))
    assert curve.availability_percent[0] > 90.0 and curve.availability_percent[-1] == pytest.approx(99.999)
    assert np.all(np.diff(curve.availability_percent) > 0.0)
    for series in (curve.down_esno_db, curve.up_esno_db, curve.down_mbps, curve.up_mbps):
        assert len(series) == len(curve.availability_percent)
        assert np.all(np.diff(series) <= 0.0)


def answer(job: Job, view: View = VIEW) -> tuple[str, str, list[str]]:
    """Verdict, its reason, and the findings."""
    pairs = tuple((direction, budget(job, direction)) for direction in directions(job, view))
    carried = carried_rates(job, pairs[0], pairs[1])
    found = verdict(job, view.elevation_deg, carried)
    return found.answer, found.reason, link_findings(job, pairs, carried)


def with_rates(down_mbps: float, up_mbps: float, stream_mbps: float) -> Job:
    """The job with these booked."""
    base = with_interference(sample_job(), 20.0, 22.0)
    service = replace(base.service, down_mbps=down_mbps, up_mbps=up_mbps, stream_mbps=stream_mbps)
    # 1.5 dB more power and back-off: the same EIRP, and linear enough for 16APSK.
    transmitter = replace(base.transmitter, power_w=8.0 * 10.0**0.15, output_back_off_db=2.5)
    downlink = replace(base.downlink, eirp_dbw=44.0)
    return replace(base, service=service, downlink=downlink, transmitter=transmitter)


def test_verdict_by_what_is_carried() -> None:
    # At 99.5 % the uplink carries 16APSK 2/3, 3.956 Mbit/s; one MODCOD lower is 8PSK 3/4, 3.342 Mbit/s.
    assert answer(with_rates(4.0, 3.0, 2.5)) == ("works", answer(with_rates(4.0, 3.0, 2.5))[1], [])
    tight, reason, found = answer(with_rates(4.0, 3.9, 2.5))
    assert tight == "tight" and "no MODCOD in hand" in reason and len(found) == 1
    short, reason, _ = answer(with_rates(4.0, 4.2, 2.5))
    assert short == "tight" and "not at 99.5 % availability" in reason
    assert answer(with_rates(4.0, 4.2, 4.1))[0] == "does not work"
    dark, reason, found = answer(with_rates(4.0, 6.0, 2.5))
    assert dark == "does not work" and "even in clear sky" in reason
    assert any("not carried even in clear sky" in one for one in found)
    impossible = answer(with_rates(4.0, 20.0, 2.5))[2]
    assert any("No MODCOD of DVB-S2 carries" in one for one in impossible)


def test_verdict_by_elevation() -> None:
    job = with_rates(2.0, 1.0, 1.0)
    low = replace(VIEW, elevation_deg=8.0, slant_range_km=range_at_elevation_km(8.0))
    grazing, reason, found = answer(job, low)
    assert grazing == "tight" and "8.0° above the horizon" in reason and reason in found
    below, reason, found = answer(job, replace(VIEW, elevation_deg=-4.0))
    assert below == "does not work" and "below the horizon" in reason and found[0] == reason


def test_what_ifs_cost_what_they_take() -> None:
    job = sample_job()
    down, up = budgets(job)
    rows = {row.change: row for row in what_ifs(job, VIEW)}
    planned = rows["as planned"]
    assert (planned.down_faded_mbps, planned.up_faded_mbps) == (down.rate_faded_mbps, up.rate_faded_mbps)
    assert planned.down_cost_mbps == planned.up_cost_mbps == 0.0
    for row in rows.values():
        assert row.up_cost_mbps == pytest.approx(planned.up_faded_mbps - row.up_faded_mbps)
    assert rows["availability 99.5 %"].up_faded_mbps == planned.up_faded_mbps
    assert rows["availability 99.99 %"].up_cost_mbps > rows["availability 99.9 %"].up_cost_mbps > 0.0
    # Half the power is 3.01 dB, as much as 2.01 dB more than 1 dB of pointing.
    assert rows["transmitter at half power"].up_cost_mbps >= rows["1 dB more pointing loss"].up_cost_mbps
    assert rows["transmitter at half power"].down_cost_mbps == 0.0


def test_smaller_dish_keeps_its_efficiency() -> None:
    dish = sample_job().antenna
    smaller = smaller_dish(dish)
    assert smaller is not None and smaller.diameter_m == 0.75 and smaller.efficiency == 0.62
    measured = replace(dish, efficiency=None, receive_gain_dbi=39.0, transmit_gain_dbi=41.0)
    scaled = smaller_dish(measured)
    # Gain goes with the square of the diameter: 20 log(0.75 / 0.98) = -2.323 dB.
    assert scaled is not None and scaled.receive_gain_dbi == pytest.approx(39.0 - 2.323, abs=0.001)
    assert smaller_dish(replace(dish, diameter_m=0.4)) is None


@given(st.floats(90.0, 99.999))
def test_any_availability_has_an_es_n0_below_clear_sky(availability_percent: float) -> None:
    job = sample_job()
    changed = replace(job, service=replace(job.service, availability_percent=availability_percent))
    for link, esno_db in zip(
        (downlink(job, VIEW), uplink(job, VIEW)), faded_esno_db(changed, VIEW), strict=True
    ):
        assert esno_db <= float(clear_state(link, clear_sky_gas_db(link.path)).esno_db)
