"""Scores of alerts against labels: cases worked by hand, and an independent formulation with pandas."""

from collections.abc import Sequence
from typing import Any

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.records import AlertEvent, AlertState
from agent.replay.labels import Label
from agent.replay.scoring import TARGETS, Interval, alert_intervals, pooled, score, score_json

HOUR_S = 3600.0
SPAN = Interval(0.0, 10.0 * HOUR_S)


def event(minute: float, rule: str, state: AlertState) -> AlertEvent:
    """A change of an alert so many minutes after the start."""
    return AlertEvent(
        unix_s=60.0 * minute,
        rule=rule,
        severity="act",
        state=state,
        cause=TARGETS[rule].cause,
        action="",
        evidence=(),
        figures={},
    )


def label(start: float, end: float, rule: str) -> Label:
    """An episode that the rule is to detect, in minutes."""
    return Label(start_unix_s=60.0 * start, end_unix_s=60.0 * end, cause=TARGETS[rule].cause)


def test_worked_by_hand() -> None:
    # Ten hours with three episodes. Alerts: 4 minutes after the first one's start; one in the middle of
    # nowhere; 10 minutes after the second one's; none for the third.
    labels = [label(60, 90, "repeak"), label(200, 260, "repeak"), label(400, 420, "repeak")]
    events = [
        event(64, "repeak", "raised"),
        event(70, "repeak", "raised"),
        event(91, "repeak", "cleared"),
        event(150, "repeak", "raised"),
        event(155, "repeak", "acknowledged"),
        event(156, "repeak", "cleared"),
        event(210, "repeak", "raised"),
        event(262, "repeak", "cleared"),
    ]
    repeak = score(events, labels, SPAN)["repeak"]
    assert (repeak.episodes, repeak.detected, repeak.alerts, repeak.false_alarms) == (3, 2, 3, 1)
    assert repeak.recall == pytest.approx(2 / 3)
    assert repeak.precision == pytest.approx(2 / 3)
    assert repeak.median_delay_s == 60.0 * (4 + 10) / 2
    assert repeak.false_alarms_per_hour == pytest.approx(0.1)
    # 27 + 6 + 52 minutes of 600.
    assert repeak.alert_share == pytest.approx(85 / 600)


def test_an_announced_sun_pass_is_early_and_not_false() -> None:
    labels = [label(100, 112, "wait-sun-pass")]
    events = [event(85, "wait-sun-pass", "raised"), event(113, "wait-sun-pass", "cleared")]
    found = score(events, labels, SPAN)["wait-sun-pass"]
    assert (found.median_delay_s, found.false_alarms) == (-900.0, 0)


def test_an_alert_that_stands_at_the_end_is_counted_to_the_end() -> None:
    assert alert_intervals([event(590, "shade", "raised")], "shade", SPAN) == [
        Interval(590 * 60.0, SPAN.end_unix_s)
    ]


def test_never_alerting_misses_all_and_has_no_delay() -> None:
    never = score([], [label(60, 90, "shade")], SPAN)
    assert (never["shade"].recall, never["shade"].median_delay_s) == (0.0, None)
    assert never["shade"].precision is None
    assert never["blockage"].recall is None


def test_always_alerting_finds_all() -> None:
    labels = [label(60, 90, "blockage"), label(300, 301, "blockage")]
    always = score([event(0, "blockage", "raised")], labels, SPAN)["blockage"]
    assert (always.recall, always.false_alarms, always.alert_share) == (1.0, 0, 1.0)


def test_a_span_of_no_length_has_no_rates() -> None:
    empty = score([], [], Interval(5.0, 5.0))["repeak"]
    assert (empty.false_alarms_per_hour, empty.alert_share) == (None, None)


def test_pooled_over_days() -> None:
    one = score([event(64, "repeak", "raised")], [label(60, 90, "repeak")], SPAN)
    other = score([event(300, "repeak", "raised")], [label(60, 90, "repeak")], SPAN)
    both = pooled([one, other])["repeak"]
    assert (both.episodes, both.detected, both.false_alarms) == (2, 1, 1)
    assert both.false_alarms_per_hour == pytest.approx(1 / 20)
    assert both.median_delay_s == 240.0


def test_json_has_the_keys_of_the_contract() -> None:
    body = score_json(score([], [], SPAN))
    assert set(body) == set(TARGETS)
    assert list(body["repeak"]) == [  # type: ignore[arg-type]
        "episodes",
        "detected",
        "recall",
        "median_delay_s",
        "false_alarms",
        "false_alarms_per_hour",
    ]


def pandas_score(alerts: Sequence[tuple[float, float]], labels: Sequence[Label], rule: str) -> dict[str, Any]:
    """The same question put to pandas: a cross join of alerts and episodes, and what overlaps."""
    target = TARGETS[rule]
    raised = pd.DataFrame(alerts, columns=["start", "end"], dtype=float).reset_index(names="alert")
    hurt = pd.DataFrame([(x.start_unix_s, x.end_unix_s) for x in labels], columns=["from", "to"], dtype=float)
    hurt = hurt.reset_index(names="episode")
    pairs = raised.merge(hurt, how="cross")
    windows = pd.IntervalIndex.from_arrays(
        pairs["from"] - target.early_s, pairs["to"] + target.late_s, closed="both"
    )
    stands = pd.IntervalIndex.from_arrays(pairs["start"], pairs["end"], closed="both")
    overlap = [bool(w.overlaps(s)) for w, s in zip(windows, stands, strict=True)]
    hits = pairs[pd.Series(overlap, index=pairs.index, dtype=bool)]
    delay = (hits["start"] - hits["from"]).clip(lower=-target.early_s)
    first = delay.groupby(hits["episode"]).min()
    return {
        "detected": len(first),
        "median_delay_s": None if first.empty else float(first.median()),
        "false_alarms": len(raised) - hits["alert"].nunique(),
    }


@given(
    rule=st.sampled_from(sorted(TARGETS)),
    edges=st.lists(st.integers(0, 36_000), min_size=0, max_size=12, unique=True),
    episodes=st.lists(st.tuples(st.integers(0, 35_000), st.integers(0, 5_000)), max_size=5),
)
def test_agrees_with_pandas(rule: str, edges: list[int], episodes: list[tuple[int, int]]) -> None:
    ordered = sorted(edges[: len(edges) // 2 * 2])
    alerts = list(zip(map(float, ordered[::2]), map(float, ordered[1::2]), strict=True))
    labels = [
        Label(start_unix_s=float(a), end_unix_s=float(a + length), cause=TARGETS[rule].cause)
        for a, length in episodes
    ]
    states: list[tuple[float, AlertState]] = [
        (moment, state) for pair in alerts for moment, state in zip(pair, ("raised", "cleared"), strict=True)
    ]
    events = [event(moment / 60.0, rule, state) for moment, state in states]
    ours = score(events, labels, SPAN)[rule]
    theirs = pandas_score(alerts, labels, rule)
    assert ours.detected == theirs["detected"]
    assert ours.false_alarms == theirs["false_alarms"]
    assert ours.median_delay_s == (
        None if theirs["median_delay_s"] is None else pytest.approx(theirs["median_delay_s"])
    )
