"""What is stated never outruns what was counted: rising, within 0 to 1, and no surer than the posterior."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.watch.causes.calibration import CALIBRATION, Point, stated
from agent.watch.causes.names import LOSS_CAUSES, LossCause

POSTERIORS = st.floats(0.0, 1.0)
CAUSES = st.sampled_from(LOSS_CAUSES)
ENOUGH = 20  # cases, from which on a share may be surer than the posterior


@given(CAUSES, POSTERIORS, POSTERIORS)
def test_a_likelier_cause_is_never_stated_less_sure(cause: LossCause, one: float, other: float) -> None:
    assert stated(cause, min(one, other)) <= stated(cause, max(one, other))


@given(CAUSES, POSTERIORS)
def test_what_is_stated_is_a_probability(cause: LossCause, posterior: float) -> None:
    assert 0.0 <= stated(cause, posterior) <= 1.0


@given(CAUSES, POSTERIORS)
def test_few_cases_make_nobody_surer_than_the_posterior(cause: LossCause, posterior: float) -> None:
    points = CALIBRATION.get(cause, ())
    beside = [point.cases for point in _beside(points, posterior)]
    if not beside or min(beside) < ENOUGH:
        assert stated(cause, posterior) <= posterior


@pytest.mark.parametrize("cause", CALIBRATION)
def test_each_share_could_come_of_its_cases(cause: LossCause) -> None:
    points = CALIBRATION[cause]
    assert 4 <= len(points) <= 8
    for point in points:
        right = point.right * (point.cases + 2) - 1  # Laplace's rule of succession
        assert right == pytest.approx(round(right), abs=0.03)
        assert 0 <= round(right) <= point.cases


def test_what_was_right_less_often_is_stated_as_less_sure() -> None:
    assert stated("mispoint", 0.7) < 0.65
    assert stated("rain", 0.75) < 0.5


def _beside(points: tuple[Point, ...], posterior: float) -> tuple[Point, ...]:
    below = [point for point in points if point.posterior <= posterior][-1:]
    above = [point for point in points if point.posterior > posterior][:1]
    return (*below, *above)
