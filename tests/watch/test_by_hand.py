"""What a person reads off the modem's screen: as good as the modem's own word, for half an hour.

No outside source: the half hour is the project's own promise, the dish's physics play no part here.
"""

import pytest

from agent.records import AnyReading, Note, Signal, Situation, Throughput
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.plan.sample_job import job
from tests.watch.sample_day import at, plan


def told(*readings: AnyReading, until_minute: float) -> tuple[Situation, list[str]]:
    """The situation then, and the rules that were raised."""
    engine = AlertEngine(job(), plan(), default_rules())
    events = [event for one in readings for event in engine.update(one)]
    events += engine.advance(at(until_minute))
    return engine.situation(), [event.rule for event in events if event.state == "raised"]


def read(minute: float, esno_db: float) -> Signal:
    return Signal(unix_s=at(minute), locked=True, esno_db=esno_db, method="manual")


def peaked(minute: float) -> Note:
    return Note(unix_s=at(minute), kind="peak-done")


def test_a_level_read_by_hand_stands_for_half_an_hour_and_then_is_not_known() -> None:
    readings = peaked(0.0), read(0.1, 13.9)
    fresh, raised = told(*readings, until_minute=29.0)
    assert fresh.figures["esno_db"] == 13.9
    assert fresh.figures["level_by_hand_unix_s"] == at(0.1)
    assert fresh.level == "fine"
    assert fresh.last_seen_unix_s == {"signal by hand": at(0.1)}
    assert raised == []
    old, raised = told(*readings, until_minute=31.0)
    assert "esno_db" not in old.figures
    assert old.level == "unknown"
    assert raised == [], "what a person reads is not missed"


def test_the_level_read_after_peaking_is_the_reference_and_the_newest_reading_counts() -> None:
    now, _ = told(peaked(0.0), read(0.05, 13.9), read(10.0, 1.37), read(10.5, 13.7), until_minute=11.0)
    assert now.figures["reference_db"] == 13.9
    assert now.figures["esno_db"] == 13.7
    assert now.figures["deficit_db"] == pytest.approx(0.2)


def test_one_look_is_enough_for_lost_lock() -> None:
    looked = Signal(unix_s=at(10.0), locked=False, method="manual")
    _, raised = told(peaked(0.0), read(0.1, 13.9), looked, until_minute=11.0)
    assert "link-down" in raised


def test_the_modems_own_word_takes_over_again() -> None:
    own = [Signal(unix_s=at(10.0 + step / 6.0), esno_db=13.5) for step in range(12)]
    now, _ = told(peaked(0.0), read(0.1, 13.9), *own, until_minute=12.0)
    assert "level_by_hand_unix_s" not in now.figures
    assert now.figures["esno_db"] == 13.5


def test_tests_by_hand_are_old_after_half_an_hour_however_often_they_came_before() -> None:
    tests = [Throughput(unix_s=at(minute), method="manual", up_mbps=3.4) for minute in (0.0, 2.0, 4.0)]
    now, _ = told(read(0.0, 13.9), *tests, until_minute=33.0)
    assert now.figures["up_mbps"] == pytest.approx(3.4)
    later, _ = told(read(0.0, 13.9), *tests, until_minute=36.0)
    assert "up_mbps" not in later.figures
    assert later.figures["rate_tested_unix_s"] == at(4.0)
