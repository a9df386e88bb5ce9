"""Times as the crew reads them: local time of the site, UTC at hand, ages and spans in words."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

# Every zone's offset in use since 1972 is constant within a quarter of an hour (IANA time zone database).
_QUARTER_S = 900.0


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
