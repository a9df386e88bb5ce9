"""Heat of the day on the transmitter."""

from dataclasses import replace
from math import exp

import pytest

from agent.heat.outlook import heat_outlook
from agent.heat.thermal import (
    GAIN_PRIOR_K_PER_W_M2,
    OFFSET_PRIOR_K,
    SHADED_SHARE,
    TAU_PRIOR_MIN,
    ThermalModel,
)
from agent.job import Job, Transmitter
from agent.link_plan import HeatOutlook, SunPath, Sunshine
from agent.plan.sunshine import clear_sky, sun_path
from tests.plan.sample_job import job
from tests.reference import Case, cases


def flat_sky(work: Job, direct_w_m2: float, global_w_m2: float, sunny_from_s: float = 0.0) -> Sunshine:
    """The same sky all through the job from `sunny_from_s` on, darkness before; each minute."""
    count = round((work.day.end_unix_s - work.day.start_unix_s) / 60.0) + 2
    lit = [60.0 * i >= sunny_from_s for i in range(count)]
    return Sunshine(
        start_unix_s=work.day.start_unix_s,
        step_s=60.0,
        direct_normal_w_m2=tuple(direct_w_m2 if sun else 0.0 for sun in lit),
        global_horizontal_w_m2=tuple(global_w_m2 if sun else 0.0 for sun in lit),
    )


def still_sun(work: Job) -> SunPath:
    """A sun that stands still."""
    return SunPath(
        start_unix_s=work.day.start_unix_s,
        step_s=86_400.0,
        azimuth_deg=(180.0, 180.0),
        elevation_deg=(50.0, 50.0),
    )


def outlook(
    minutes: int, air_degc: float = 25.0, limit_degc: float = 80.0, direct_w_m2: float = 800.0
) -> HeatOutlook:
    """Outlook of a job of so many minutes under a flat sky of 900 W/m2."""
    work = job("2026-07-18T10:00:00+02:00", "2026-07-18T11:00:00+02:00")
    work = replace(
        work,
        day=replace(work.day, end_unix_s=work.day.start_unix_s + 60.0 * minutes),
        transmitter=Transmitter(power_w=8.0, output_back_off_db=1.0, feed_loss_db=0.3, limit_degc=limit_degc),
    )
    return heat_outlook(work, flat_sky(work, direct_w_m2, 900.0), still_sun(work), air_degc)


@pytest.mark.parametrize(
    ("minutes", "advised", "shade_after_min"),
    [(50, False, None), (90, True, 60.0), (119, True, 60.0), (180, True, 60.0), (480, True, 60.0)],
)
def test_rule_of_thumb(minutes: int, advised: bool, shade_after_min: float | None) -> None:
    # Common practice: under one or two hours in the sun is no concern, eight hours wants shade. The hour by
    # which it does is the one that the sentence names.
    found = outlook(minutes)
    assert found.shade_advised == advised
    start_unix_s = found.hours[0].start_unix_s
    assert found.shade_by_unix_s == (
        None if shade_after_min is None else start_unix_s + 60.0 * shade_after_min
    )
    assert found.safe_unshaded_min == (60.0 if advised else None)


def test_an_ample_margin_outvotes_the_rule_of_thumb_where_the_air_is_known() -> None:
    """The rule of thumb (common practice) is for units of which nothing else is known."""
    cold = outlook(480, air_degc=3.0, limit_degc=80.0)
    warmer_k = cold.transmitter_peak_unshaded_degc - 3.0
    assert 3.0 + 2.0 * warmer_k < 80.0, "a unit twice as warm as the typical one stays below its limit"
    assert (cold.sun_hours, cold.shade_advised, cold.shade_by_unix_s, cold.safe_unshaded_min) == (
        8.0, False, None, None,
    )  # fmt: skip
    assert "Safe unshaded all day." in cold.reason and "rule of thumb" not in cold.reason
    nearer = outlook(480, air_degc=3.0, limit_degc=cold.transmitter_peak_unshaded_degc + 29.9)
    assert nearer.shade_advised and nearer.safe_unshaded_min == 60.0
    work = job()
    unknown = heat_outlook(work, flat_sky(work, 800.0, 300.0), still_sun(work))
    assert unknown.air_assumed and unknown.shade_advised


def test_sunshine_is_beam_over_the_wmo_threshold() -> None:
    # WMO-No. 8, Guide to Instruments, chapter 8: direct irradiance over 120 W/m2.
    assert outlook(240, direct_w_m2=119.0).sun_hours == 0.0
    assert outlook(240, direct_w_m2=121.0).sun_hours == pytest.approx(4.0)


def test_half_cloudy_day_has_half_of_the_sunshine() -> None:
    found = outlook(240)
    assert found.half_cloudy_sun_hours == pytest.approx(2.0)
    assert [hour.clear_sunshine_min for hour in found.hours] == [60.0] * 4
    assert [hour.half_cloudy_sunshine_min for hour in found.hours] == [30.0] * 4


def test_job_that_ends_within_an_hour_has_a_shorter_last_hour() -> None:
    assert [hour.clear_sunshine_min for hour in outlook(150).hours] == [60.0, 60.0, 30.0]


def test_steady_state_is_air_plus_own_heat_plus_sun() -> None:
    # After many time constants a first-order body stands at air + dissipation + gain * irradiance; after one
    # time constant it has covered 1 - 1/e of the way (any textbook of heat transfer: lumped capacitance).
    found = outlook(10 * int(TAU_PRIOR_MIN))
    rise_k = GAIN_PRIOR_K_PER_W_M2 * 900.0
    assert found.transmitter_peak_unshaded_degc == pytest.approx(25.0 + OFFSET_PRIOR_K + rise_k, abs=0.05)
    assert found.transmitter_peak_shaded_degc == pytest.approx(
        25.0 + OFFSET_PRIOR_K + SHADED_SHARE * rise_k, abs=0.05
    )
    one = outlook(int(TAU_PRIOR_MIN))
    covered = (one.transmitter_peak_unshaded_degc - 25.0 - OFFSET_PRIOR_K) / rise_k
    assert covered == pytest.approx(1.0 - exp(-1.0), abs=1e-6)


def test_default_gain_lies_within_the_handbook() -> None:
    # ASHRAE Handbook Fundamentals, sol-air temperature (from memory): 0.026 K m2/W for light and 0.052 for
    # dark surfaces with the sun square on every part. A box shows less than half of its skin to the sun, so
    # that the mean of the whole is below the light figure and above a quarter of the dark one.
    factors = {case["inputs"]["alpha_over_ho"] for case in cases("heat", having="alpha_over_ho")}
    assert max(factors) / 4.0 < GAIN_PRIOR_K_PER_W_M2 < min(factors)


@pytest.mark.parametrize("case", cases("heat", having="t_solair_C"), ids=lambda case: str(case["inputs"]))
def test_reference_sol_air_is_what_the_model_settles_at(case: Case) -> None:
    # ASHRAE Handbook Fundamentals, sol-air temperature (from memory): a body without heat of its own settles
    # at t_o + (alpha / h_o) I - eps dR / h_o. The handbook rounds the last term of a horizontal surface to 4
    # K.
    inputs = case["inputs"]
    gain = inputs.get("alpha_over_ho") or inputs["alpha"] / inputs["h_o"]
    sky_k = -inputs["eps"] * inputs["dR_W_m2"] / inputs["h_o"] if "eps" in inputs else 0.0
    if inputs.get("surface") == "horizontal":
        sky_k = -4.0
    share = 0.2
    model = ThermalModel(theta=[share, share * gain * 1000.0, share * sky_k / 10.0])
    assert model.settled_degc(inputs["t_o_C"], inputs["I_W_m2"]) == pytest.approx(
        case["expected"]["t_solair_C"], abs=0.05
    )


def test_limit_comes_before_the_hour() -> None:
    # 40 + 12 K of own heat, + 16.2 K by the sun: 60 deg C is half of the way, ln 2 time constants after the
    # start.
    found = outlook(180, air_degc=40.0, limit_degc=40.0 + OFFSET_PRIOR_K + GAIN_PRIOR_K_PER_W_M2 * 450.0)
    assert found.safe_unshaded_min == pytest.approx(0.6931 * TAU_PRIOR_MIN, abs=1.0)


def test_short_job_in_great_heat_still_gets_a_shade() -> None:
    found = outlook(50, air_degc=45.0, limit_degc=60.0)
    assert found.shade_advised
    assert found.shade_by_unix_s is not None
    assert "no concern by the rule of thumb" in found.reason


def test_too_hot_even_shaded_says_what_else_helps() -> None:
    assert "moving air" in outlook(240, air_degc=50.0, limit_degc=55.0).reason


def test_assumed_air_is_said() -> None:
    work = job()
    found = heat_outlook(work, flat_sky(work, 800.0, 900.0), still_sun(work))
    assert found.air_assumed
    assert "an assumed 25 °C" in found.reason
    assert not outlook(60).air_assumed


def test_shade_goes_up_an_hour_after_the_sun_comes() -> None:
    work = job("2026-07-18T05:00:00+02:00", "2026-07-18T15:00:00+02:00")
    found = heat_outlook(work, flat_sky(work, 800.0, 900.0, sunny_from_s=7200.0), still_sun(work))
    assert found.shade_by_unix_s == pytest.approx(work.day.start_unix_s + 10_800.0, abs=90.0)
    assert "Safe unshaded until about 07:59; then shade." in found.reason


def test_night_job() -> None:
    work = job("2026-07-18T23:00:00+02:00", "2026-07-19T04:00:00+02:00")
    start, end = work.day.start_unix_s, work.day.end_unix_s
    found = heat_outlook(work, clear_sky(work.site, start, end), sun_path(work.site, start, end), 20.0)
    assert (found.sun_hours, found.shade_advised, found.shade_by_unix_s) == (0.0, False, None)
    assert found.transmitter_peak_unshaded_degc == pytest.approx(20.0 + OFFSET_PRIOR_K)
    assert all(hour.sun_elevation_deg < 0.0 for hour in found.hours)


def test_real_july_day() -> None:
    # Sun path at 37 N on 18 July: it culminates at 90 - 37.25 + 21.0 = 73.7 deg of elevation (almanac
    # declination 21.0), due south, at about 14:34 summer time (longitude 6.95 W, equation of time 6.3 min).
    work = job()
    start, end = work.day.start_unix_s, work.day.end_unix_s
    found = heat_outlook(work, clear_sky(work.site, start, end), sun_path(work.site, start, end), 30.0)
    assert found.sun_hours == pytest.approx(10.0)
    highest = max(found.hours, key=lambda hour: hour.sun_elevation_deg)
    assert highest.start_unix_s == start + 5 * 3600.0
    assert highest.sun_elevation_deg == pytest.approx(73.7, abs=0.5)
    assert highest.sun_azimuth_deg == pytest.approx(180.0, abs=5.0)


def test_sky_that_does_not_cover_the_job_is_refused() -> None:
    work = job()
    short = clear_sky(work.site, work.day.start_unix_s, work.day.start_unix_s + 3600.0)
    with pytest.raises(ValueError, match="cover 60 of the job's 600 minutes"):
        heat_outlook(work, short, still_sun(work))
