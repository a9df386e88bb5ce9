"""The plan page's budgets add up."""

import pytest

from agent.link_plan import Budget, LinkPlan
from agent.planning.compute import compute_plan
from dashboard import words
from dashboard.figures.plan import budget_steps, fade_steps
from tests.plan.sample_job import job


@pytest.fixture(scope="module")
def plan() -> LinkPlan:
    return compute_plan(job())


@pytest.mark.parametrize("direction", ["downlink", "uplink"])
def test_the_budget_leads_from_eirp_to_carrier_to_noise(plan: LinkPlan, direction: str) -> None:
    """C/N0 = EIRP - losses + G/T - k in dB (Maral and Bousquet, Satellite Communications Systems, ch. 5)."""
    budget: Budget = getattr(plan, direction)
    names, steps_db = zip(*budget_steps(budget), strict=True)
    assert names == words.BUDGET_STEPS
    assert sum(steps_db[:-1]) == pytest.approx(steps_db[-1], abs=1e-6)
    assert (steps_db[0], steps_db[-1]) == (budget.eirp_dbw, budget.cn0_dbhz)


@pytest.mark.parametrize("direction", ["downlink", "uplink"])
def test_the_fade_leads_from_clear_sky_to_the_availability(plan: LinkPlan, direction: str) -> None:
    budget: Budget = getattr(plan, direction)
    steps_db = [value_db for _name, value_db in fade_steps(budget)]
    assert sum(steps_db[:-1]) == pytest.approx(steps_db[-1], abs=1e-6)
    assert (steps_db[0], steps_db[-1]) == (budget.esno_clear_db, budget.esno_faded_db)
