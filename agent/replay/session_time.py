"""Times in the CSV files of a session: RFC 3339 in UTC or Unix seconds, exact both ways."""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

# Years 1 to 9999 are what the calendar of the standard library holds.
EARLIEST_UNIX_S = datetime(1, 1, 2, tzinfo=UTC).timestamp()
LATEST_UNIX_S = datetime(9999, 12, 30, tzinfo=UTC).timestamp()
# "2026-07-18T09:00" has 16 characters, and the whole seconds end at the 19th.
MINUTE_END = 16
SECOND_END = 19
RFC_3339 = re.compile(
    r"(?P<whole>\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d)(?P<fraction>(\.\d+)?)(?P<offset>[Zz]|[+-]\d\d:\d\d)",
    re.ASCII,
)
DAY_S = 86_400.0
SECONDS = {f":{second:02d}": float(second) for second in range(60)}


@dataclass(frozen=True, slots=True)
class SiteClock:
    """What the clock at the site shows; with the date where a session spans more than a day."""

    zone: ZoneInfo
    dated: bool = False

    def text(self, unix_s: float) -> str:
        """This moment, to the second."""
        moment = datetime.fromtimestamp(unix_s, self.zone)
        return f"{moment:%Y-%m-%d %H:%M:%S}" if self.dated else f"{moment:%H:%M:%S}"


def site_clock(start_unix_s: float, end_unix_s: float, zone: ZoneInfo) -> SiteClock:
    """The clock for a session from start to end."""
    return SiteClock(zone, end_unix_s - start_unix_s > DAY_S)


def unix_s_from_cell(cell: str) -> float | None:
    """Unix seconds from one cell, RFC 3339 with its offset or a plain number; None if it is neither."""
    text = cell.strip()
    try:
        number = float(text)
    except ValueError:
        return _from_rfc3339(text)
    return number if EARLIEST_UNIX_S <= number <= LATEST_UNIX_S else None


def _from_rfc3339(text: str) -> float | None:
    parts = RFC_3339.fullmatch(text)
    if parts is None:
        return None
    try:
        whole = datetime.fromisoformat(parts["whole"] + parts["offset"].upper())
    except ValueError:
        return None
    return whole.timestamp() + float(f"0{parts['fraction']}")


def unix_s_from_column(cells: Iterable[str]) -> list[float | None]:
    """Unix seconds of every cell like `unix_s_from_cell`, quick because it remembers the minutes it read."""
    minutes: dict[str, float] = {}
    times: list[float | None] = []
    for cell in cells:
        minute_unix_s = minutes.get(cell[:MINUTE_END])
        second = SECONDS.get(cell[MINUTE_END:SECOND_END])
        fraction = cell[SECOND_END:]
        if minute_unix_s is None or second is None or fraction[-1:] != "Z":
            times.append(unix_s_from_cell(cell))
            if second is not None and fraction == "Z" and times[-1] is not None:
                minutes[cell[:MINUTE_END]] = times[-1] - second
        elif fraction == "Z":
            times.append(minute_unix_s + second)
        elif fraction[0] == "." and fraction[1:-1].isdecimal():
            times.append(minute_unix_s + second + float(f"0{fraction[:-1]}"))
        else:
            times.append(None)
    return times


def rfc3339_from_unix_s(time_unix_s: float) -> str:
    """RFC 3339 in UTC with as many digits (up to seven, finer than the float) as give the same time back."""
    whole_s = math.floor(time_unix_s)
    text = datetime.fromtimestamp(whole_s, UTC).isoformat()[:SECOND_END]
    fraction_s = time_unix_s - whole_s
    if fraction_s == 0.0:
        return f"{text}Z"
    written = (f"{fraction_s:.{digits}f}" for digits in range(1, 7))
    exact = (decimals for decimals in written if whole_s + float(decimals) == time_unix_s)
    return f"{text}{next(exact, f'{fraction_s:.7f}')[1:]}Z"


def site_moment(text: str, start_unix_s: float, time_zone: str) -> float | None:
    """Unix seconds of a clock time such as 14:05 at the site on the session's first day, or a full time."""
    full_unix_s = unix_s_from_cell(text)
    if full_unix_s is not None:
        return full_unix_s
    try:
        clock = datetime.strptime(text, "%H:%M")
    except ValueError:
        return None
    first = datetime.fromtimestamp(start_unix_s, ZoneInfo(time_zone))
    return first.replace(hour=clock.hour, minute=clock.minute, second=0, microsecond=0).timestamp()
