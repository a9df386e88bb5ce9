"""Figures in words."""

from math import nan
from zoneinfo import ZoneInfo

import pytest

from agent.report.words import NOT_MEASURED, SiteTime, bytes_text, number, percent, span, times
from tests.plan.sample_job import unix_s


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (number(nan, 1, "dB"), NOT_MEASURED),
        (number(None), NOT_MEASURED),
        (number(-1.25, 1, "dB"), "\u22121.2 dB"),
        (number(-0.04, 1, "dB", signed=True), "0.0 dB"),
        (number(2.0, 1, signed=True), "+2.0"),
        (percent(nan), NOT_MEASURED),
        (percent(99.97), "99.9 %"),
        (percent(100.0), "100.0 %"),
        (percent(0.0), "0.0 %"),
        (span(nan), NOT_MEASURED),
        (span(0.0), "0 s"),
        (span(40.0), "40 s"),
        (span(3599.0), "1 h 00 min"),
        (span(7500.0), "2 h 05 min"),
        (bytes_text(nan), NOT_MEASURED),
        (bytes_text(237_515_456.0), "237.5 MB"),
        (bytes_text(2.5e9), "2.50 GB"),
        (times(1), "once"),
        (times(3), "3 times"),
    ],
)
def test_words(text: str, expected: str) -> None:
    assert text == expected


def test_times_are_the_sites_with_utc_and_a_date_where_it_differs() -> None:
    clock = SiteTime(ZoneInfo("Pacific/Fiji"), unix_s("2026-07-24T19:30:00+00:00"))
    assert clock.date() == "25 July 2026"
    assert clock.with_utc(unix_s("2026-07-24T19:30:00+00:00")) == "07:30 (19:30 UTC)"
    assert clock.clock(unix_s("2026-07-25T13:00:00+00:00")) == "26 Jul 01:00"
    assert clock.offset() == "Pacific/Fiji, UTC+12:00"
