"""The plan page's budgets add up."""

from dataclasses import replace
from math import log10
from zoneinfo import ZoneInfo

import pytest

from agent.link_plan import Budget, LinkPlan
from agent.planning.compute import compute_plan
from dashboard import words
from dashboard.figures.plan import budget_steps, fade_steps, rate_picture, sun_path_picture
from tests.plan.sample_job import job


@pytest.fixture(scope="module")
def plan() -> LinkPlan:
    return compute_plan(job())


@pytest.mark.parametrize("direction", ["downlink", "uplink"])
def test_the_budget_is_told_by_the_losses_that_matter(plan: LinkPlan, direction: str) -> None:
    """From EIRP - free-space loss + G/T - k in the symbol rate (Maral and Bousquet, ch. 5) on."""
    budget: Budget = getattr(plan, direction)
    symbol_rate_msps = getattr(job(), direction).symbol_rate_msps
    names, steps_db = zip(*budget_steps(budget, symbol_rate_msps), strict=True)
    assert names[-1] == words.LEFT_OVER
    assert sum(steps_db[:-1]) == pytest.approx(steps_db[-1], abs=1e-6)
    perfect = budget.eirp_dbw - budget.free_space_loss_db + budget.gt_dbk + 228.5991672
    assert steps_db[0] == pytest.approx(perfect - 10.0 * log10(symbol_rate_msps * 1e6))
    assert steps_db[-1] == budget.esno_faded_db


def test_availability_is_told_in_nines(plan: LinkPlan) -> None:
    assert "99.9 % (three)" in rate_picture(plan.availability, job())


def test_the_skyline_stands_beside_the_sun() -> None:
    base = job()
    walled = compute_plan(replace(base, site=replace(base.site, obstructions=[[100.0, 10.0], [200.0, 30.0]])))
    assert words.SKYLINE in sun_path_picture(walled, ZoneInfo("Europe/Madrid"))
    assert words.SKYLINE not in sun_path_picture(compute_plan(base), ZoneInfo("Europe/Madrid"))


@pytest.mark.parametrize("direction", ["downlink", "uplink"])
def test_the_fade_leads_from_clear_sky_to_the_availability(plan: LinkPlan, direction: str) -> None:
    budget: Budget = getattr(plan, direction)
    steps_db = [value_db for _name, value_db in fade_steps(budget)]
    assert sum(steps_db[:-1]) == pytest.approx(steps_db[-1], abs=1e-6)
    assert (steps_db[0], steps_db[-1]) == (budget.esno_clear_db, budget.esno_faded_db)
