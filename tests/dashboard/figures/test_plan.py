"""The plan page's figures add up."""

import pytest

from agent.link_plan import Budget, LinkPlan
from agent.planning.compute import compute_plan
from dashboard import words
from dashboard.figures.plan import budget_figure, fade_figure
from dashboard.theme import THEMES
from tests.plan.sample_job import job

THEME = next(iter(THEMES.values()))


@pytest.fixture(scope="module")
def plan() -> LinkPlan:
    return compute_plan(job())


@pytest.mark.parametrize("direction", ["downlink", "uplink"])
def test_the_budget_bars_lead_from_eirp_to_carrier_to_noise(plan: LinkPlan, direction: str) -> None:
    """C/N0 = EIRP - losses + G/T - k in dB (Maral and Bousquet, Satellite Communications Systems, ch. 5)."""
    budget: Budget = getattr(plan, direction)
    (bars,) = budget_figure(budget, THEME).data
    assert bars.x == words.BUDGET_BARS
    assert list(bars.measure) == ["absolute", *["relative"] * 6, "total"]
    assert sum(bars.y[:-1]) == pytest.approx(bars.y[-1], abs=1e-6)
    assert bars.y[0] == budget.eirp_dbw
    assert bars.y[-1] == budget.cn0_dbhz


@pytest.mark.parametrize("direction", ["downlink", "uplink"])
def test_the_fade_bars_lead_from_clear_sky_to_the_availability(plan: LinkPlan, direction: str) -> None:
    budget: Budget = getattr(plan, direction)
    (bars,) = fade_figure(budget, THEME).data
    assert sum(bars.y[:-1]) == pytest.approx(bars.y[-1], abs=1e-6)
    assert (bars.y[0], bars.y[-1]) == (budget.esno_clear_db, budget.esno_faded_db)
