"""Local time of the site. Offsets are those of Directive 2000/84/EC: summer time runs from 01:00 UTC on the
last Sunday of March to 01:00 UTC on the last Sunday of October; Spain's mainland is UTC+1, in summer UTC+2.
"""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from agent.wording import span
from dashboard.site_time import clock_text, local_ms, utc_text

MADRID = ZoneInfo("Europe/Madrid")
KATHMANDU = ZoneInfo("Asia/Kathmandu")  # UTC+05:45 (IANA time zone database)


def unix_s(text: str) -> float:
    return datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()


@pytest.mark.parametrize(
    ("utc", "zone", "local"),
    [
        ("2026-07-18T09:00:00", MADRID, "11:00"),
        ("2026-03-29T00:59:00", MADRID, "01:59"),
        ("2026-03-29T01:00:00", MADRID, "03:00"),
        ("2026-10-25T00:59:00", MADRID, "02:59"),
        ("2026-10-25T01:00:00", MADRID, "02:00"),
        ("2026-12-31T23:30:00", MADRID, "00:30"),
        ("2026-07-18T09:00:00", KATHMANDU, "14:45"),
    ],
)
def test_clock_follows_the_zone(utc: str, zone: ZoneInfo, local: str) -> None:
    assert clock_text(unix_s(utc), zone) == local
    axis_ms = local_ms(np.array([unix_s(utc)]), zone)[0]
    assert f"{datetime.fromtimestamp(axis_ms / 1000.0, UTC):%H:%M}" == local
    assert utc_text(unix_s(utc)) == utc[11:16]


def test_axis_jumps_within_one_array_and_keeps_gaps() -> None:
    before, after = unix_s("2026-03-29T00:59:59"), unix_s("2026-03-29T01:00:00")
    axis_ms = local_ms(np.array([before, np.nan, after]), MADRID)
    assert axis_ms[2] - axis_ms[0] == 3_601_000.0
    assert np.isnan(axis_ms[1])


def test_axis_of_nothing_is_empty() -> None:
    assert local_ms(np.array([]), MADRID).shape == (0,)


@pytest.mark.parametrize(
    ("span_s", "text"),
    [
        (-3.0, "0 s"),
        (0.4, "0 s"),
        (59.4, "59 s"),
        (59.9, "59 s"),
        (60.0, "1 min"),
        (3599.9, "59 min"),
        (3600.0, "1 h 00 min"),
        (93_780.0, "26 h 03 min"),
    ],
)
def test_span_is_rounded_down(span_s: float, text: str) -> None:
    """A deadline never sounds later than it is."""
    assert span(span_s, round_down=True) == text
