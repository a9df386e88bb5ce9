"""Charts: values land where the axes say."""

import re
from math import nan

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.report.charts import (
    Axis,
    Bars,
    Frame,
    Level,
    Line,
    Strip,
    bar_chart,
    line_chart,
    ticks,
    time_table,
)

AXIS = Axis(0.0, 100.0, [(0.0, "0"), (50.0, "50"), (100.0, "100")])
NUMBERS = st.floats(-1e4, 1e4, allow_nan=False)


@given(NUMBERS, st.floats(1e-3, 1e4))
def test_ticks_are_round_even_and_cover_the_range(low: float, width: float) -> None:
    found = ticks(low, low + width)
    steps = [later - earlier for earlier, later in zip(found, found[1:], strict=False)]
    assert found[0] <= low + 1e-6 * width
    assert found[-1] >= low + width - 1e-6 * width
    assert 1 <= len(steps) <= 7
    assert steps == pytest.approx([steps[0]] * len(steps))
    assert f"{steps[0]:.0e}"[0] in "125"


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [
        (0.0, 5.0, (0.0, 1.0, 2.0, 3.0, 4.0, 5.0)),
        (13.0, 16.5, (13.0, 14.0, 15.0, 16.0, 17.0)),
        (3.0, 3.0, None),
    ],
)
def test_ticks_by_hand(low: float, high: float, expected: tuple[float, ...] | None) -> None:
    found = ticks(low, high)
    assert found == pytest.approx(expected) if expected else found[0] <= low < found[-1]


def test_both_axes_are_linear_and_up_is_up() -> None:
    frame = Frame(AXIS, 0.0, 10.0, 200.0)
    assert frame.x(50.0) == pytest.approx((frame.x(0.0) + frame.x(100.0)) / 2.0)
    assert frame.y(5.0) == pytest.approx((frame.y(0.0) + frame.y(10.0)) / 2.0)
    assert frame.y(10.0) < frame.y(0.0)


def test_a_gap_breaks_the_line_and_what_lies_outside_is_not_drawn() -> None:
    line = Line("level", [-10.0, 10.0, 20.0, 30.0, 40.0, 50.0], [1.0, 1.0, 2.0, nan, 2.0, 1.0], "#000000")
    (course,) = re.findall(r'<path d="([^"]*)"', line_chart("a title", AXIS, [line]))
    assert re.sub(r"[\d. ]+", "", course) == "MLML"


def test_nothing_known_is_no_chart() -> None:
    line = Line("level", [1.0, 2.0], [nan, nan], "#000000")
    assert line_chart("a title", AXIS, [line], [Level("limit", 3.0, "#000000")]) == ""
    assert bar_chart("a title", AXIS, [Bars("share", [0.0], 10.0, [0.0], "#000000")]) == ""
    assert time_table("a title", AXIS, [], []) == ""


def test_bars_stack_and_their_heights_are_in_proportion() -> None:
    series = [
        Bars("one", [0.0, 50.0], 50.0, [2.0, 4.0], "#111111"),
        Bars("two", [0.0, 50.0], 50.0, [2.0, 0.0], "#222222"),
    ]
    found = re.findall(
        r'<rect x="[\d.]+" y="([\d.]+)" width="[\d.]+" height="([\d.]+)" fill="(#111111|#222222)"',
        bar_chart("t", AXIS, series),
    )
    # The keys above the chart come last.
    (low_top, low, _), (_, high, _), (top, other, _) = found[:3]
    assert float(high) == pytest.approx(2.0 * float(low), abs=0.2)
    assert float(other) == pytest.approx(float(low), abs=0.1)
    assert float(top) + float(other) == pytest.approx(float(low_top), abs=0.2)


def test_words_are_escaped() -> None:
    text = line_chart(
        '"<title>"', AXIS, [Line("<b>", [1.0], [1.0], "#000000")], strips=[Strip(0.0, 90.0, "<i>")]
    )
    assert "<b>" not in text
    assert "<i>" not in text
    assert 'aria-label="&quot;&lt;title&gt;&quot;"' in text


def test_a_course_that_stands_at_nought_has_a_scale_that_can_be_read() -> None:
    assert ticks(0.0, 0.0) == (0.0, 0.2)
