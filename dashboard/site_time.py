"""Times as the crew reads them: local time of the site, UTC at hand, ages and spans in words."""

from datetime import UTC, datetime, timedelta
from math import ceil
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

# Every zone's offset in use since 1972 is constant within a quarter of an hour (IANA time zone database).
_QUARTER_S = 900.0
_DAY_S = 86_400.0
# Steps of a clock's ticks that a person counts in: seconds to two months.
_STEPS_S = (
    10.0, 30.0, 60.0, 120.0, 300.0, 600.0, 900.0, 1800.0, 3600.0, 7200.0, 10_800.0, 21_600.0, 43_200.0,
    *(days * _DAY_S for days in (1.0, 2.0, 7.0, 14.0, 31.0, 61.0)),
)  # fmt: skip


def clock_text(unix_s: float, zone: ZoneInfo) -> str:
    """Local time of the site to the minute, as in 14:05."""
    return f"{datetime.fromtimestamp(unix_s, zone):%H:%M}"


def second_text(unix_s: float, zone: ZoneInfo) -> str:
    """Local time of the site to the second, as in 14:05:09."""
    return f"{datetime.fromtimestamp(unix_s, zone):%H:%M:%S}"


def utc_text(unix_s: float) -> str:
    """UTC to the minute, as in 12:05."""
    return f"{datetime.fromtimestamp(unix_s, UTC):%H:%M}"


def date_text(unix_s: float, zone: ZoneInfo) -> str:
    """The local date, as in 2026-07-18 (ISO 8601 reads the same in every language)."""
    return f"{datetime.fromtimestamp(unix_s, zone):%Y-%m-%d}"


def clock_ticks(start_unix_s: float, end_unix_s: float, zone: ZoneInfo, most: int) -> list[tuple[float, str]]:
    """About `most` round times of the site's clock in the span with their words; a midnight has its date."""
    span_s = end_unix_s - start_unix_s
    step_s = next((one for one in _STEPS_S if span_s / one <= most), _STEPS_S[-1])
    midnight = datetime.fromtimestamp(start_unix_s, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    # An hour more on both sides, since a day may have 23 or 25.
    first = max(0, int((start_unix_s - midnight.timestamp() - 3600.0) // step_s))
    count = ceil((span_s + 7200.0) / step_s) + 2
    # Wall time counts: a step over the end of summer time keeps full hours.
    moments = (midnight + timedelta(seconds=step_s * number) for number in range(first, first + count))
    inside = [one for one in moments if start_unix_s <= one.timestamp() <= end_unix_s]
    return [(one.timestamp(), _tick_text(one, step_s)) for one in inside]


def _tick_text(moment: datetime, step_s: float) -> str:
    if (moment.hour, moment.minute, moment.second) == (0, 0, 0):
        return f"{moment.day} {moment:%b}"
    return f"{moment:%H:%M:%S}" if step_s < 60.0 else f"{moment:%H:%M}"


def same_date(one_unix_s: float, other_unix_s: float, zone: ZoneInfo) -> bool:
    """Whether both are of one local date."""
    return date_text(one_unix_s, zone) == date_text(other_unix_s, zone)


def field_text(unix_s: float, zone: ZoneInfo) -> str:
    """Local date and time for a field that can be edited, as in 2026-07-18 14:05:09."""
    return f"{datetime.fromtimestamp(unix_s, zone):%Y-%m-%d %H:%M:%S}"


def from_field(text: str | None, zone: ZoneInfo) -> float | None:
    """Unix seconds of such a field, seconds may be missing; None where it is no time.

    Of the hour that the end of summer time brings twice, the first is meant.
    """
    try:
        read = datetime.fromisoformat((text or "").strip())
    except ValueError:
        return None
    return None if read.tzinfo is not None else read.replace(tzinfo=zone).timestamp()


def local_ms(unix_s: NDArray[np.float64], zone: ZoneInfo) -> NDArray[np.float64]:
    """Local wall-clock time for a figure's axis, which knows no time zones.

    Parameters: `unix_s`, Unix seconds, any shape. Returns milliseconds of the same shape that read as local
    time where an axis takes them for UTC; NaN gives NaN.
    """
    quarters, inverse = np.unique(np.floor(unix_s / _QUARTER_S), return_inverse=True)
    offsets_s = np.array([_offset_s(quarter * _QUARTER_S, zone) for quarter in quarters])
    return np.asarray((unix_s + offsets_s[inverse].reshape(unix_s.shape)) * 1000.0)


def _offset_s(unix_s: float, zone: ZoneInfo) -> float:
    if np.isnan(unix_s):
        return float("nan")
    offset = datetime.fromtimestamp(unix_s, zone).utcoffset()
    if offset is None:
        raise AssertionError("a time with a zone has an offset")
    return offset.total_seconds()
