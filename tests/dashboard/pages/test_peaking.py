"""The figure of whoever turns the dish. What counts as rising is the project's own judgement."""

import pytest

from dashboard.page_data.peaking import Peaking, Way, since, way_of
from dashboard.pages.peaking import figures


@pytest.mark.parametrize(
    ("levels", "way"),
    [
        ([(5.0, 12.0)], None),
        ([(5.0, 12.0), (4.0, 11.9), (2.0, 11.0)], "rises"),
        ([(5.0, 11.0), (4.0, 12.5), (2.0, 12.0)], "falls"),
        ([(5.0, 12.0), (4.0, 10.0), (2.0, 11.9)], "steady"),
        ([(100.0, 12.0), (40.0, 9.0)], "rises"),
    ],
)
def test_a_level_rises_or_falls_against_three_seconds_ago(
    levels: list[tuple[float, float]], way: Way | None
) -> None:
    assert way_of(levels, 0.15) == way


def test_a_peaking_that_nobody_ends_is_none_after_twenty_minutes() -> None:
    assert since(0.0, 1199.0) == 0.0
    assert since(0.0, 1200.0) is None
    assert since(None, 5.0) is None


def test_level_best_and_plan_stand_there_and_the_tone_is_highest_at_the_best() -> None:
    seen = Peaking(figure="esno_db", locked=True, level=11.0, best=14.0, plan=14.2, way="falls", age_s=4.0)
    said = figures(seen)
    assert (said["level"], said["unit"], said["way"]) == ("11.0", "dB", "▼ falls")
    assert said["beside"] == "best 14.0 · plan 14.2"
    assert said["age"] == "4 s old"
    assert said["hz"] == pytest.approx(660.0)
    assert figures(Peaking(figure="esno_db", locked=True, level=14.0, best=14.0))["hz"] == 1320.0


def test_without_lock_no_old_level_stands_there() -> None:
    assert figures(Peaking(figure="esno_db", locked=False, level=11.0))["level"] == "No lock"
    assert figures(Peaking(figure=None, locked=True))["level"] == "No level yet"
