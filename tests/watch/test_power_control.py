"""What a network that levels its uplinks gives away in one loss, and what that means for the next."""

import pytest

from agent.records import Signal
from agent.watch.decision_grid import DecisionGrid
from agent.watch.power_control import CONTROLLED, PowerControl
from agent.watch.uplink import UplinkLoss, mispoint_log_odds
from tests.plan.sample_job import job
from tests.watch.sample_day import at, every
from tests.watch.test_uplink import behind_rain_db, quiet_plan, wobble


def test_minutes_of_a_loss_that_nothing_explains_teach_and_a_single_reading_does_not() -> None:
    """Four standard deviations are 1 in 30,000 (normal distribution)."""
    once, long = PowerControl(), PowerControl()
    once.learn(4.0)
    for _ in range(60):
        long.learn(4.0)
    assert once.chance < 0.3
    assert long.chance > 0.9


def test_what_is_explained_teaches_nothing() -> None:
    one = PowerControl()
    for _ in range(60):
        one.learn(0.0)
    assert one.chance == CONTROLLED


def shower(room_db: float) -> list[Signal]:
    """From minute 30 to 60; the terminal sends up to `room_db` more and does not say so."""
    day = []
    for minute in every(10.0, 0.0, 70.0):
        rain_db = 1.5 * max(0.0, min(1.0, (minute - 30.0) / 5.0, (60.0 - minute) / 5.0))
        day.append(
            Signal(
                unix_s=at(minute),
                esno_db=round(14.0 - behind_rain_db(rain_db) + wobble(minute), 2),
                uplink_esno_db=round(12.0 - max(0.0, 1.6 * rain_db - room_db) - wobble(minute), 2),
            )
        )
    return day


def learnt(readings: list[Signal]) -> float:
    """Chance that the network levels, after these readings."""
    grid = DecisionGrid()
    for reading in readings:
        list(grid.advance(reading.unix_s, quiet_plan(), job()))
        grid.add(reading)
    return grid.stage.signal.power_control.chance


def test_a_shower_that_costs_the_uplink_nothing_tells_of_the_network() -> None:
    """Rain attenuates the uplink more than the downlink (ITU-R P.618-14 section 2.2.1.3, from memory)."""
    assert learnt(shower(room_db=3.0)) > 0.9
    assert learnt(shower(room_db=0.0)) == pytest.approx(CONTROLLED, abs=0.02)


def test_an_uplink_that_is_known_to_be_controlled_hardly_speaks_against_the_dish() -> None:
    """A part of what a turned dish takes is left, as much as stands in the path would take by itself."""
    expected = UplinkLoss(mispoint_db=3.5, least_in_path_db=1.2, most_in_path_db=2.4)
    unknown, known = (mispoint_log_odds(2.2, expected, 0.4, 0.2, chance) for chance in (CONTROLLED, 0.95))
    assert unknown < -1.5
    assert -0.7 < known < 0.0
