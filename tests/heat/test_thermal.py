"""The live thermal model against the closed solution of the same differential equation.

Newton's law of cooling with constant air and sun has T(t) = T_end + (T_0 - T_end) exp(-t / tau) (any heat
transfer handbook, for example Incropera and DeWitt, Fundamentals of Heat and Mass Transfer, lumped
capacitance method, section 5.1; from memory). The truth below is written from it, not from our stepping.
"""

import math
import random

import pytest

from agent.heat.thermal import Thermometer, forecast

AIR_DEGC = 30.0


def truth_degc(minute: float, tau_min: float, end_degc: float, start_degc: float = AIR_DEGC) -> float:
    return end_degc + (start_degc - end_degc) * math.exp(-minute / tau_min)


def watched(tau_min: float, end_degc: float, sun_w_m2: float, minutes: int, step_degc: float) -> Thermometer:
    """A thermometer that has read this course once in ten seconds, in steps of `step_degc` with noise."""
    chance = random.Random(5)
    one = Thermometer()
    for minute in range(minutes):
        for sixth in range(6):
            value = truth_degc(minute + sixth / 6.0, tau_min, end_degc) + chance.gauss(0.0, 0.1)
            one.add(round(value / step_degc) * step_degc)
        one.close_minute((minute + 1) * 60.0, AIR_DEGC, sun_w_m2)
    return one


@pytest.mark.parametrize("tau_min", [12.0, 25.0, 45.0])
@pytest.mark.parametrize("step_degc", [0.1, 0.5, 1.0])
def test_time_to_limit_of_a_unit_that_warms_up(tau_min: float, step_degc: float) -> None:
    """Half an hour after switch-on, the time to a limit that comes 20 minutes later."""
    end_degc = 62.0
    limit_degc = truth_degc(50.0, tau_min, end_degc)
    one = watched(tau_min, end_degc, 800.0, 30, step_degc)
    found = forecast(one, limit_degc, [(AIR_DEGC, 800.0)] * 24)
    # The course flattens: half a kelvin, a common thermometer's resolution, is minutes of time.
    slope = (end_degc - limit_degc) / tau_min
    slack_min = 4.0 + (0.5 + step_degc) / slope
    assert abs(found.likely_s / 60.0 - 20.0) <= slack_min
    assert found.early_s <= found.planned_s <= found.likely_s


@pytest.mark.parametrize("tau_min", [12.0, 25.0, 45.0])
def test_a_limit_well_above_the_end_is_not_in_sight(tau_min: float) -> None:
    one = watched(tau_min, 50.0, 800.0, 60, 0.5)
    found = forecast(one, 60.0, [(AIR_DEGC, 800.0)] * 24)
    assert found.planned_s == math.inf
    assert found.peak_degc == pytest.approx(50.0, abs=3.0)


def test_less_sun_ahead_means_a_later_limit() -> None:
    one = watched(25.0, 62.0, 800.0, 30, 0.5)
    sunny = forecast(one, 57.0, [(AIR_DEGC, 800.0)] * 24)
    cloudy = forecast(one, 57.0, [(AIR_DEGC, 300.0)] * 24)
    assert sunny.likely_s < cloudy.likely_s


def test_a_unit_over_its_limit_is_there_now() -> None:
    found = forecast(watched(25.0, 62.0, 800.0, 60, 0.1), 55.0, [(AIR_DEGC, 800.0)] * 24)
    assert found.likely_s == 0.0


def test_gaps_teach_nothing_and_break_nothing() -> None:
    one = Thermometer()
    prior = list(one.model.theta)
    for minute in (0, 1, 30, 31, 90):
        one.add(40.0)
        one.close_minute(minute * 60.0, math.nan, 500.0)
    assert one.model.theta == prior
    assert one.now_degc() == 40.0
