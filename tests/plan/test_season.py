"""The rain of the job's month, and what it leaves."""

from dataclasses import replace
from math import log
from statistics import NormalDist

import pytest

from agent.plan.season import LOG_MEAN_SHIFT, LOG_SIGMA, MONTH_DAYS, rain_in_month, rain_of_month_mm_h
from agent.planning.compute import compute_plan
from tests.plan.sample_job import job as sample_job
from tests.reference import Case, cases

RAINY = [case for case in cases("itu_p837", having="Rp_mm_h") if case["expected"]["Rp_mm_h"] > 0.0][:2]


@pytest.mark.parametrize("case", RAINY, ids=lambda case: f"{case['inputs']['lat_deg']}")
def test_the_months_make_up_the_year(case: Case) -> None:
    # P.837-7, annex 1, steps 7 and 8: weighted by their days, the months exceed the year's R_0.01 (validation
    # examples of Study Group 3) for 0.01 % of the year. The map of R_0.01 is rounded, hence 1 %.
    place = case["inputs"]["lat_deg"], case["inputs"]["lon_deg"]
    year_mm_h, exceeded = case["expected"]["Rp_mm_h"], 0.0
    for month, days in enumerate(MONTH_DAYS, start=1):
        rainy_percent, mean_mm_h = rain_in_month(*place, month)
        above = (log(year_mm_h) + LOG_MEAN_SHIFT - log(mean_mm_h)) / LOG_SIGMA
        exceeded += days * rainy_percent * (1.0 - NormalDist().cdf(above))
        # Solved for the rate it is the same curve.
        rate = rain_of_month_mm_h(*place, month)
        again = (log(rate) + LOG_MEAN_SHIFT - log(mean_mm_h)) / LOG_SIGMA
        assert rainy_percent * (1.0 - NormalDist().cdf(again)) == pytest.approx(0.01)
    assert exceeded / 365.25 == pytest.approx(0.01, rel=0.01)


def test_a_dry_month_carries_more_and_a_wet_one_less_than_the_year() -> None:
    # The south-west of Spain has its rain in autumn and winter, and hardly any in July (common knowledge).
    dry, wet = sample_job(), sample_job("2026-11-08T09:00:00+01:00", "2026-11-08T18:00:00+01:00")
    dry, wet = (replace(one, service=replace(one.service, availability_percent=99.9)) for one in (dry, wet))
    july, november = compute_plan(dry), compute_plan(wet)
    assert (july.season.month, november.season.month) == (7, 11)
    assert july.season.rain_rate_mm_h < july.downlink.rain_rate_mm_h < november.season.rain_rate_mm_h
    assert november.season.up_margin_db < november.uplink.margin_faded_db
    assert july.season.up_margin_db > july.uplink.margin_faded_db


def test_where_it_never_rains_no_rain_is_counted() -> None:
    # 23 N 30 E has none (validation examples of P.837-7).
    assert rain_of_month_mm_h(23.0, 30.0, 7) == 0.0
