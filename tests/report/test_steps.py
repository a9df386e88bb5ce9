"""Availability's counting, by hand."""

from math import isnan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plan.span import Span
from agent.report.steps import both, hold_s, steps

HOUR = Span(0.0, 3600.0)


def test_each_answer_stands_until_the_next_and_the_last_for_three_intervals() -> None:
    course = steps([0.0, 10.0, 20.0], [True, False, True], HOUR)
    assert course.start_unix_s.tolist() == [0.0, 10.0, 20.0]
    assert course.end_unix_s.tolist() == [10.0, 20.0, 50.0]
    assert (course.good_s, course.known_s) == (40.0, 50.0)


def test_nothing_is_known_in_the_middle_of_a_gap() -> None:
    """Readings each 10 s but for a gap of 1,000 s: 30 s of it are covered."""
    times = [*range(0, 100, 10), *range(1090, 1200, 10)]
    course = steps([float(one) for one in times], [True] * len(times), Span(0.0, 1200.0))
    assert course.known_s == 90.0 + 30.0 + 110.0


def test_the_span_cuts_what_lies_outside() -> None:
    course = steps([-20.0, -10.0, 3590.0, 3600.0], [False, True, False, True], HOUR)
    assert course.start_unix_s.tolist() == [0.0, 3590.0]
    assert course.end_unix_s.tolist() == [20.0, 3600.0]
    assert (course.good_s, course.known_s) == (20.0, 30.0)


@pytest.mark.parametrize("times", [[], [5.0], [5.0, 5.0]])
def test_one_moment_does_not_say_how_long_it_stands(times: list[float]) -> None:
    course = steps(times, [True] * len(times), HOUR)
    assert course.known_s == 0.0
    assert course.bad_spans() == ()
    assert isnan(hold_s(course.start_unix_s))


def test_bad_spans_join_where_they_touch() -> None:
    times = [0.0, 10.0, 20.0, 30.0, 40.0]
    course = steps(times, [False, False, True, False, True], Span(0.0, 50.0))
    assert course.bad_spans() == (Span(0.0, 20.0), Span(30.0, 40.0))


def test_either_bad_is_bad_and_good_needs_both() -> None:
    """Each second of the three-valued table (good, bad, unknown) of two courses once."""
    one = steps([0.0, 3.0, 6.0, 6.5], [True, False, False, False], Span(0.0, 6.0))
    other_answers = [True, False]
    other = steps([0.0, 1.0, 3.0, 4.0], [*other_answers, *other_answers], Span(0.0, 5.0))
    # one: good 0-3, bad 3-6. other: good 0-1, bad 1-3, good 3-4, bad 4-5, unknown from 5 on.
    joined = both(one, other)
    assert joined.good_s == 1.0
    assert joined.known_s == 6.0
    assert joined.bad_spans() == (Span(1.0, 6.0),)


def test_good_beside_unknown_is_unknown() -> None:
    one = steps([0.0, 10.0], [True, True], Span(0.0, 20.0))
    nothing = steps([], [], Span(0.0, 20.0))
    assert both(one, nothing).known_s == 0.0
    assert both(nothing, nothing).known_s == 0.0


@given(
    st.lists(st.tuples(st.integers(0, 500), st.booleans()), min_size=2, max_size=40),
    st.lists(st.tuples(st.integers(0, 500), st.booleans()), min_size=2, max_size=40),
)
def test_both_are_never_better_than_either(
    one: list[tuple[int, bool]], other: list[tuple[int, bool]]
) -> None:
    courses = [
        steps([float(t) for t, _ in sorted(pairs)], [good for _, good in sorted(pairs)], Span(0.0, 500.0))
        for pairs in (one, other)
    ]
    joined = both(*courses)
    assert joined.good_s <= min(course.good_s for course in courses) + 1e-9
    assert joined.known_s - joined.good_s >= max(c.known_s - c.good_s for c in courses) - 1e-9
    assert both(*reversed(courses)).good_s == pytest.approx(joined.good_s)
