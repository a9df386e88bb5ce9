"""The span of the day page."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboard.page_data import windows

NOW_UNIX_S = 1_784_372_400.0  # 2026-07-18T11:00:00Z


@pytest.mark.parametrize(
    ("arguments", "asked"),
    [
        ({}, ("job", None)),
        ({"span": "2h"}, ("2h", None)),
        ({"span": "century"}, ("job", None)),
        ({"from": "1000", "to": "4600"}, ("", (1000.0, 4600.0))),
        ({"from": "1000", "to": "900"}, ("", (1000.0, 1060.0))),
        ({"from": "-5", "to": "1e300"}, ("", (0.0, 366 * 86_400.0))),
        ({"from": "nan", "to": "5"}, ("job", None)),
        ({"from": "1e400", "to": "5"}, ("job", None)),
        ({"from": "noon", "to": "5"}, ("job", None)),
        ({"from": "1000"}, ("job", None)),
    ],
)
def test_what_an_address_asks_for(arguments: dict[str, str], asked: windows.Asked) -> None:
    """A year at most, a minute at least; what cannot be read is the job's span."""
    assert windows.asked_of(arguments) == asked


def test_without_a_job_its_span_is_the_last_twelve_hours() -> None:
    assert windows.chosen(windows.Asked(), NOW_UNIX_S, None) == (NOW_UNIX_S - 43_200.0, NOW_UNIX_S)


@given(st.floats(600.0, 1e6))
def test_closer_undoes_wider_and_later_undoes_earlier(width_s: float) -> None:
    window = (NOW_UNIX_S, NOW_UNIX_S + width_s)
    assert windows.moved(windows.moved(window, "wider"), "closer") == pytest.approx(window)
    assert windows.moved(windows.moved(window, "earlier"), "later") == pytest.approx(window)


def test_closer_stops_at_a_minute() -> None:
    window = windows.moved((NOW_UNIX_S, NOW_UNIX_S + 61.0), "closer")
    assert window[1] - window[0] == pytest.approx(windows.SHORTEST_S)
