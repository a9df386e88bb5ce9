"""What holds for every rule alike: the engine is a pure function of what it has heard."""

import copy
import dataclasses
import json
import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.records import AlertEvent, AnyReading, ClockChange
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from agent.watch.rules import RULES
from tests.plan.sample_job import job
from tests.watch.sample_day import FULL_DAY_PASS, at, events_of, full_day, in_order, plan

PLAN = plan((FULL_DAY_PASS,))
# Nobody publishes what the agent finds of its own clock.
DAY = in_order([*full_day(), ClockChange(unix_s=at(362.0), stepped_s=-3.0, offset_s=-3.0)])
EVENTS = events_of(DAY, PLAN)


def engine() -> AlertEngine:
    return AlertEngine(job(), PLAN, default_rules())


def run(one: AlertEngine, readings: list[AnyReading]) -> list[AlertEvent]:
    return [event for reading in readings for event in one.update(reading)]


@pytest.mark.parametrize("rule", RULES)
def test_the_day_exercises_every_rule(rule: str) -> None:
    """Without this the tests below would prove nothing for a silent rule."""
    states = [event.state for event in EVENTS if event.rule == rule]
    assert "raised" in states
    assert "cleared" in states


def test_repeatable_and_inputs_untouched() -> None:
    readings = copy.deepcopy(DAY)
    assert events_of(readings, PLAN) == EVENTS
    assert readings == DAY


def test_events_of_a_beginning_are_the_beginning_of_all_events() -> None:
    for count in range(0, len(DAY), 611):
        found = run(engine(), DAY[:count])
        assert found == EVENTS[: len(found)]


@settings(max_examples=12, deadline=None)
@given(st.integers(0, len(DAY)))
def test_split_and_resumed_equals_whole(count: int) -> None:
    first = engine()
    events = run(first, DAY[:count])
    kept = json.loads(json.dumps(first.snapshot()))
    second = AlertEngine.restore(job(), PLAN, default_rules(), kept)
    assert events + run(second, DAY[count:]) == EVENTS


@settings(max_examples=8, deadline=None)
@given(st.floats(0.3, 400.0), st.floats(0.0, 5.0))
def test_spacing_of_ticks_changes_nothing(spacing_s: float, lag_s: float) -> None:
    one = engine()
    events: list[AlertEvent] = []
    for before, after in pairwise(DAY):
        events += one.update(before)
        ticks = int((after.unix_s - before.unix_s) / spacing_s)
        for tick in range(ticks):
            events += one.advance(before.unix_s + (tick + 1) * spacing_s - min(lag_s, spacing_s))
    events += one.update(DAY[-1])
    assert events == EVENTS


def test_order_of_equal_times_of_different_kinds_changes_nothing() -> None:
    swapped = sorted(DAY, key=lambda reading: (reading.unix_s, type(reading).__name__))
    assert swapped != DAY
    assert events_of(swapped, PLAN) == EVENTS


def test_silence_is_stamped_when_it_is_due() -> None:
    """The modem's last word is at 299:55; no-data wants at least 240 s and six intervals."""
    raised = next(event for event in EVENTS if event.rule == "no-data" and event.state == "raised")
    assert at(300.0) + 235.0 <= raised.unix_s <= at(300.0) + 245.0


def test_silence_is_noticed_without_another_reading() -> None:
    heard = [reading for reading in DAY if reading.unix_s < at(20.0)]
    by_ticks = engine()
    run(by_ticks, heard)
    events = [event for second in range(600) for event in by_ticks.advance(at(20.0) + second)]
    at_once = engine()
    run(at_once, heard)
    assert at_once.advance(at(20.0) + 599.0) == events
    assert {event.rule for event in events} == {"no-data", "below-plan"}


def test_a_late_reading_counts_as_of_now() -> None:
    late, now_unix_s = DAY[100], DAY[3000].unix_s
    one, other = engine(), engine()
    run(one, [*DAY[:3001], late])
    run(other, [*DAY[:3001], dataclasses.replace(late, unix_s=now_unix_s)])
    assert json.dumps(one.snapshot()) == json.dumps(other.snapshot())


def test_no_rule_chatters() -> None:
    for rule in RULES:
        raised = [event.unix_s for event in EVENTS if event.rule == rule and event.state == "raised"]
        assert all(later - earlier >= 10.0 for earlier, later in pairwise(raised))


def test_events_are_in_order_and_finite() -> None:
    assert all(earlier.unix_s <= later.unix_s for earlier, later in pairwise(EVENTS))
    assert all(math.isfinite(value) for event in EVENTS for value in event.figures.values())


def test_acknowledged_once_and_shown_as_such() -> None:
    acknowledged = [event for event in EVENTS if event.state == "acknowledged"]
    assert [(event.rule, event.unix_s) for event in acknowledged] == [("repeak", at(40.0))]
