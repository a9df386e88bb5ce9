"""The span of the day page."""

from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.page_data import windows

MADRID = ZoneInfo("Europe/Madrid")
NOW_UNIX_S = 1_784_372_400.0  # 2026-07-18T11:00:00Z


def test_dragged_span_is_read_in_the_sites_time() -> None:
    """plotly reports the ends as the axis reads; Madrid is UTC+2 in July (Directive 2000/84/EC)."""
    relayout = {"xaxis3.range[0]": "2026-07-18 13:00:00.5", "xaxis3.range[1]": "2026-07-18 13:30"}
    assert windows.dragged(relayout, MADRID) == (NOW_UNIX_S + 0.5, NOW_UNIX_S + 1800.0)


@pytest.mark.parametrize("relayout", [{}, {"autosize": True}, {"xaxis.autorange": True, "yaxis.range[0]": 1}])
def test_other_changes_of_the_figure_move_nothing(relayout: dict[str, object]) -> None:
    assert windows.dragged(relayout, MADRID) is None


def test_a_drag_of_seconds_opens_a_minute() -> None:
    relayout = {"xaxis.range[0]": "2026-07-18 13:00:00", "xaxis.range[1]": "2026-07-18 13:00:04"}
    assert windows.dragged(relayout, MADRID) == (NOW_UNIX_S, NOW_UNIX_S + windows.SHORTEST_S)


def test_without_a_job_its_span_is_the_last_twelve_hours() -> None:
    assert windows.chosen(windows.JOB_SPAN, NOW_UNIX_S, None) == (NOW_UNIX_S - 43_200.0, NOW_UNIX_S)


@given(st.floats(600.0, 1e6))
def test_closer_undoes_wider_and_later_undoes_earlier(width_s: float) -> None:
    window = (NOW_UNIX_S, NOW_UNIX_S + width_s)
    assert windows.moved(windows.moved(window, "wider"), "closer") == pytest.approx(window)
    assert windows.moved(windows.moved(window, "earlier"), "later") == pytest.approx(window)


def test_closer_stops_at_a_minute() -> None:
    window = windows.moved((NOW_UNIX_S, NOW_UNIX_S + 61.0), "closer")
    assert window[1] - window[0] == pytest.approx(windows.SHORTEST_S)
