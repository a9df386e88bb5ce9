"""The span of time that the day page shows, and how the crew moves it. Pure."""

from collections.abc import Mapping
from math import isfinite
from typing import NamedTuple

from agent.job import Job

Window = tuple[float, float]

SPANS_S: Mapping[str, float] = {"2h": 7200.0, "12h": 43_200.0, "7d": 604_800.0, "30d": 2_592_000.0}
JOB_SPAN = "job"
SHORTEST_S = 60.0
LONGEST_S = 366 * 86_400.0
# Calendars know the years from 1 to 9999; nobody looks for a day beyond these.
_EARLIEST_S, _LATEST_S = 0.0, 32_000_000_000.0
_FACTORS: Mapping[str, float] = {"closer": 0.5, "wider": 2.0}
_SHIFTS: Mapping[str, float] = {"earlier": -0.5, "later": 0.5}


class Asked(NamedTuple):
    """A span by its name, or the window (Unix seconds) that was moved or dragged to."""

    span: str = JOB_SPAN
    window: Window | None = None


def asked_of(arguments: Mapping[str, str]) -> Asked:
    """As the address has it: `span`, or `from` and `to`; what cannot be read is the job's span."""
    try:
        start_unix_s, end_unix_s = float(arguments["from"]), float(arguments["to"])
    except (KeyError, ValueError):
        span = arguments.get("span", JOB_SPAN)
        return Asked(span if span in SPANS_S else JOB_SPAN)
    if not (isfinite(start_unix_s) and isfinite(end_unix_s)):
        return Asked()
    start_unix_s = min(max(start_unix_s, _EARLIEST_S), _LATEST_S)
    width_s = min(max(end_unix_s - start_unix_s, SHORTEST_S), LONGEST_S)
    return Asked("", (start_unix_s, start_unix_s + width_s))


def chosen(asked: Asked, now_unix_s: float, job: Job | None) -> Window:
    """The window itself, the job's hours, or a span up to now; without a job its span is twelve hours."""
    if asked.window is not None:
        return asked.window
    if asked.span == JOB_SPAN and job is not None:
        return job.day.start_unix_s, job.day.end_unix_s
    return now_unix_s - SPANS_S["12h" if asked.span == JOB_SPAN else asked.span], now_unix_s


def moved(window: Window, move: str) -> Window:
    """Half a window to the side, or half or twice as wide around the middle, from a minute to a year."""
    width_s = window[1] - window[0]
    if move in _SHIFTS:
        shift_s = _SHIFTS[move] * width_s
        return window[0] + shift_s, window[1] + shift_s
    middle_unix_s = (window[0] + window[1]) / 2.0
    half_s = min(max(width_s * _FACTORS[move], SHORTEST_S), LONGEST_S) / 2.0
    return middle_unix_s - half_s, middle_unix_s + half_s
