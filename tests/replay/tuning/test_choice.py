"""The choice among sets, by hand and against the definition."""

from itertools import product
from math import nan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from agent.replay.tuning.choice import best, curve, figures, found_of, hold_out
from agent.replay.tuning.sets import sets_around
from agent.replay.tuning.tally import Tally, together
from agent.watch.rule_set import RuleSet, default_rules

HOUR_S = 3600.0


def tally(delays_s: list[list[float]], false_alarms: list[int], hours: float = 10.0) -> Tally:
    return Tally(
        delays_s=np.array(delays_s).reshape(len(false_alarms), -1),
        false_alarms=np.array(false_alarms),
        span_s=hours * HOUR_S,
    )


def rules(count: int) -> RuleSet:
    """Sets that raise ever later: set n is n tenths of a dB from the present one."""
    return sets_around(default_rules(), [{"repeak.raise_db": 1.0 + 0.1 * n} for n in range(1, count)])


def test_figures_add_up_over_sessions_by_hand() -> None:
    first = tally([[nan, 120.0], [60.0, -30.0]], [3, 1], hours=8.0)
    second = tally([[240.0], [nan]], [0, 2], hours=2.0)
    one = figures([(first, 0), (second, 0)])
    assert (one.episodes, one.found, one.false_alarms, one.hours) == (3, 2, 3, 10.0)
    assert one.recall == pytest.approx(2 / 3)
    assert one.false_alarms_per_hour == pytest.approx(0.3)
    assert one.mean_delay_s == pytest.approx(180.0)
    mixed = figures([(first, 1), (second, 1)])
    # 60 s late, and 30 s early, which counts as no delay.
    assert mixed.mean_delay_s == pytest.approx(30.0)


def test_what_is_not_defined_is_none_and_not_zero() -> None:
    quiet = figures([(tally([[]], [2]), 0)])
    assert (quiet.recall, quiet.mean_delay_s, quiet.episodes) == (None, None, 0)
    assert quiet.false_alarms_per_hour == pytest.approx(0.2)
    blind = figures([(tally([[nan]], [0]), 0)])
    assert (blind.recall, blind.mean_delay_s) == (0.0, None)
    assert figures([(tally([[nan]], [0], hours=0.0), 0)]).false_alarms_per_hour is None


@pytest.mark.parametrize(
    ("delays_s", "false_alarms", "limit", "expected"),
    [
        ([[nan, nan], [5.0, nan], [5.0, 5.0]], [1, 1, 1], None, 2),  # more episodes found
        ([[nan, nan], [5.0, nan], [5.0, 5.0]], [1, 1, 2], None, 1),  # but within the present false alarms
        ([[nan, nan], [5.0, nan], [5.0, 5.0]], [1, 1, 2], 0.2, 2),  # or within those that are allowed
        ([[5.0, 5.0], [5.0, 5.0], [5.0, 5.0]], [2, 1, 0], None, 2),  # fewer false alarms
        ([[400.0], [300.0], [200.0]], [0, 0, 0], None, 2),  # sooner
        ([[90.0], [80.0], [70.0]], [0, 0, 0], None, 0),  # within the same minute: nothing won
        ([[60.0], [-50.0], [-900.0]], [0, 0, 0], None, 1),  # earlier than in time wins nothing more
        ([[nan], [nan], [nan]], [1, 1, 1], None, 0),  # nothing to win
        ([[60.0], [nan], [nan]], [3, 2, 1], 0.01, 0),  # none keeps within the limit
        ([[], [], []], [2, 1, 1], None, 1),  # a day without episodes; the smaller change of two equals
    ],
)  # fmt: skip
def test_the_best_by_hand(
    delays_s: list[list[float]], false_alarms: list[int], limit: float | None, expected: int
) -> None:
    assert best([tally(delays_s, false_alarms)], rules(3), limit) == expected


TALLIES = st.integers(1, 12).flatmap(
    lambda sets: st.integers(0, 5).flatmap(
        lambda episodes: st.builds(
            Tally,
            delays_s=arrays(
                float, (sets, episodes), elements=st.sampled_from([nan, -60.0, 0.0, 70.0, 900.0])
            ),
            false_alarms=arrays(np.int64, (sets,), elements=st.integers(0, 6)),
            span_s=st.just(HOUR_S),
        )
    )
)


@given(TALLIES)
def test_the_curve_is_what_nothing_beats(one: Tally) -> None:
    """Against the definition: a point is on it where no other has as many with less or more with as few."""
    points = list(zip(one.false_alarms.tolist(), found_of(one).tolist(), strict=True))
    unbeaten = {
        (false, found)
        for false, found in points
        if not any((f <= false and n > found) or (f < false and n >= found) for f, n in points)
    }
    edge = [points[index] for index in curve([one])]
    assert edge == sorted(unbeaten)


@given(TALLIES)
def test_the_best_keeps_the_limit_and_nothing_within_it_finds_more(one: Tally) -> None:
    chosen = best([one], rules(len(one.false_alarms)), None)
    found = found_of(one)
    assert one.false_alarms[chosen] <= one.false_alarms[0]
    assert all(
        found[index] <= found[chosen]
        for index in range(len(found))
        if one.false_alarms[index] <= one.false_alarms[0]
    )


def test_each_session_is_left_out_once_and_never_seen() -> None:
    """Set 1 is better on the first two sessions and worse on the third; the third must not help itself."""
    better, worse = tally([[nan], [5.0]], [0, 0]), tally([[5.0], [nan]], [0, 0])
    held = hold_out([better, better, worse], rules(2), None)
    assert [one.session for one in held] == [0, 1, 2]
    assert held[2].chosen == 1
    assert (held[2].figures.found, held[2].present.found) == (0, 1)
    # With the first left out, one session speaks for set 1 and one against it: the present rules stay.
    assert [one.chosen for one in held[:2]] == [0, 0]


def test_one_session_cannot_be_left_out() -> None:
    assert hold_out([tally([[5.0], [5.0]], [0, 0])], rules(2), None) == []


def test_together_is_the_sum_in_any_order() -> None:
    parts = [tally([[1.0], [nan]], [1, 2]), tally([[], []], [0, 5], hours=4.0)]
    for first, second in product(range(2), repeat=2):
        if first != second:
            whole = together([parts[first], parts[second]])
            assert whole.false_alarms.tolist() == [1, 7]
            assert found_of(whole).tolist() == [1, 0]
            assert whole.span_s == 14.0 * HOUR_S
