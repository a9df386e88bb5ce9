"""Tuning's events are those of the engine: the property that lets a tuned rules file be trusted."""

from collections.abc import Mapping

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.replay.sessions import Session
from agent.replay.tuning.rows import Outcome, outcomes_of_sets, session_rows
from agent.replay.tuning.sets import full_ranges, random_changes, sets_around
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import RuleSet, default_rules
from agent.watch.rules import PARAMETERS, RULES
from tests.replay.tuning.days import PLAN, session

VALUES = {
    one.name: st.floats(one.low, one.high) | st.floats(0.5 * one.value, 1.5 * one.value).map(
        lambda value, low=one.low, high=one.high: min(max(value, low), high)
    )
    for one in PARAMETERS
}  # fmt: skip
SETS = st.lists(st.fixed_dictionaries({}, optional=VALUES), min_size=1, max_size=3)
ACKNOWLEDGED = st.lists(st.tuples(st.floats(0.0, 420.0), st.sampled_from(tuple(RULES))), max_size=12)


def by_the_engine(day: Session, rules: RuleSet) -> list[Outcome]:
    """What the engine itself says when it replays the session."""
    engine = AlertEngine(day.job, PLAN, rules)
    events = [event for reading in day.readings for event in engine.update(reading)]
    events += engine.advance(day.end_unix_s)
    return [Outcome(one.unix_s, one.rule, one.severity, one.state) for one in events]


@settings(max_examples=25)
@given(SETS, ACKNOWLEDGED, st.integers(1, 9), st.floats(0.0, 300.0), st.floats(10.0, 420.0))
def test_every_set_says_what_the_engine_says(
    sets: list[Mapping[str, float]],
    acknowledged: list[tuple[float, str]],
    every: int,
    first_minute: float,
    length_minutes: float,
) -> None:
    """Property over threshold sets, hours of a day, density of readings and acknowledgements."""
    last_minute = min(first_minute + length_minutes, 420.0)
    heard = [(minute, rule) for minute, rule in acknowledged if first_minute <= minute < last_minute]
    day = session(first_minute, last_minute, heard, every)
    rules = sets_around(default_rules(), sets)
    tuned = outcomes_of_sets(session_rows(day, PLAN), rules)
    assert tuned == [by_the_engine(day, rules.only(index)) for index in range(rules.n_sets)]


def test_random_sets_over_the_whole_day_say_what_the_engine_says() -> None:
    """With these draws every rule speaks in one set or another, so that no rule passes by silence."""
    day = session(acknowledged=[(40.0, "repeak"), (115.0, "wait-rain"), (300.0, "shade")])
    rules = sets_around(default_rules(), random_changes(full_ranges(), 12, seed=5))
    tuned = outcomes_of_sets(session_rows(day, PLAN), rules)
    assert tuned == [by_the_engine(day, rules.only(index)) for index in range(rules.n_sets)]
    assert {one.rule for outcomes in tuned for one in outcomes} == set(RULES)
    assert any(one.state == "acknowledged" for one in tuned[0])


@pytest.mark.parametrize("count", [0, 1])
def test_hardly_any_reading(count: int) -> None:
    """A session whose readings all lie before its start still ends, and says nothing."""
    day = session(0.0, 10.0)
    short = Session(
        **{**_fields(day), "readings": day.readings[:count], "end_unix_s": day.start_unix_s + 5.0}
    )
    assert outcomes_of_sets(session_rows(short, PLAN), default_rules()) == [[]]


def _fields(day: Session) -> dict[str, object]:
    return {name: getattr(day, name) for name in Session.__slots__}
