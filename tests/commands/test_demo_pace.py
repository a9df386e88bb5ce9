"""The played day gives people time to read an alert, and never runs back."""

from dataclasses import replace

import pytest

from agent import clock as clock_module
from agent.clock import played_clock
from agent.commands.demo import UNSEEN_SHARE, Pace
from tests.dashboard.scenes import REPEAK, SHADE


@pytest.fixture
def steady(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The steady clock's time, to be set."""
    now = [0.0]
    monkeypatch.setattr(clock_module, "steady_s", lambda: now[0])
    return now


def test_the_day_waits_while_an_alert_is_unseen(steady: list[float]) -> None:
    clock = played_clock(1000.0, 200.0)
    pace = Pace(clock, 200.0, UNSEEN_SHARE)
    steady[0] = 1.0
    pace.hear([SHADE, REPEAK])
    steady[0] = 11.0
    assert clock.now() == pytest.approx(1200.0 + 10.0 * 20.0)
    pace.hear([replace(SHADE, state="acknowledged")])
    assert clock.speed == 20.0
    pace.hear([replace(REPEAK, state="cleared")])
    steady[0] = 12.0
    assert clock.now() == pytest.approx(1400.0 + 200.0)


def test_an_alert_of_the_demo_stands_for_most_of_a_minute(steady: list[float]) -> None:
    """The shorter one of the README's demo stands for 15 minutes of its day (its notes.csv)."""
    clock = played_clock(0.0, 200.0)
    Pace(clock, 200.0, UNSEEN_SHARE).hear([REPEAK])
    steady[0] = 45.0
    assert clock.now() <= 15.0 * 60.0


def test_a_slower_clock_does_not_run_back_to_the_reading_that_it_waits_for(steady: list[float]) -> None:
    clock = played_clock(0.0, 200.0)
    clock.awaited_unix_s = 100.0
    steady[0] = 10.0
    before = clock.now()
    assert before > 200.0
    clock.run_at(20.0)
    assert clock.now() >= before
