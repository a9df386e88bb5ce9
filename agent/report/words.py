"""Figures in words: times of the site with UTC, spans, and numbers that may not have been measured."""

from dataclasses import dataclass
from datetime import UTC, datetime
from math import isnan
from zoneinfo import ZoneInfo

from agent import wording

NOT_MEASURED = "not measured"
MINUS = "\u2212"


@dataclass(frozen=True, slots=True)
class SiteTime:
    """The site's clock; `first_unix_s` is in the day whose date goes without saying."""

    zone: ZoneInfo
    first_unix_s: float

    def clock(self, unix_s: float) -> str:
        """Local time to the minute, with the date where it is another than the day's."""
        moment = self._local(unix_s)
        same = moment.date() == self._local(self.first_unix_s).date()
        return moment.strftime("%H:%M" if same else "%d %b %H:%M")

    def utc(self, unix_s: float) -> str:
        """The same moment by UTC."""
        return datetime.fromtimestamp(unix_s, UTC).strftime("%H:%M UTC")

    def with_utc(self, unix_s: float) -> str:
        """Local time, and UTC behind it."""
        return f"{self.clock(unix_s)} ({self.utc(unix_s)})"

    def date(self) -> str:
        """The day, such as 18 July 2026."""
        return self._local(self.first_unix_s).strftime("%d %B %Y").lstrip("0")

    def iso_date(self) -> str:
        """The day, such as 2026-07-18."""
        return self._local(self.first_unix_s).strftime("%Y-%m-%d")

    def offset(self) -> str:
        """The zone's name and its distance from UTC on the day."""
        hours = self._local(self.first_unix_s).strftime("%z")
        return f"{self.zone.key}, UTC{hours[:3]}:{hours[3:]}"

    def _local(self, unix_s: float) -> datetime:
        return datetime.fromtimestamp(unix_s, self.zone)


def number(value: float | None, digits: int = 1, unit: str = "", signed: bool = False) -> str:
    """The number with its unit, "not measured" for NaN or None."""
    if value is None or isnan(value):
        return NOT_MEASURED
    text = f"{value:+.{digits}f}" if signed else f"{value:.{digits}f}"
    if float(text) == 0.0:
        text = text.lstrip("+-")
    text = text.replace("-", MINUS)
    return f"{text} {unit}" if unit else text


def span(seconds: float | None) -> str:
    """A span of time: "40 s", "25 min", "2 h 05 min"; "not measured" for NaN or None."""
    if seconds is None or isnan(seconds):
        return NOT_MEASURED
    return wording.span(seconds)


def percent(value: float | None, digits: int = 1) -> str:
    """A percentage that does not round up to a full hundred; "not measured" for NaN or None."""
    if value is None or isnan(value):
        return NOT_MEASURED
    scale = 10.0**digits
    shown = min(round(value * scale) / scale, 100.0 - 1.0 / scale) if value < 100.0 else 100.0
    return f"{shown:.{digits}f} %"


def bytes_text(value: float) -> str:
    """Bytes in MB or GB (powers of ten); "not measured" for NaN."""
    if isnan(value):
        return NOT_MEASURED
    return number(value / 1e9, 2, "GB") if value >= 1e9 else number(value / 1e6, 1, "MB")


def counted(count: int, one: str) -> str:
    """ "1 test", "2 tests"."""
    return f"{count} {one if count == 1 else one + 's'}"


def times(count: int) -> str:
    """ "once", "twice", "3 times"."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
