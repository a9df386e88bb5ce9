"""The span of time that the day page shows, and how the crew moves it. Pure."""

from collections.abc import Mapping
from datetime import datetime
from zoneinfo import ZoneInfo

from agent.job import Job

Window = tuple[float, float]

SPANS_S: Mapping[str, float] = {"2h": 7200.0, "12h": 43_200.0, "7d": 604_800.0, "30d": 2_592_000.0}
JOB_SPAN = "job"
SHORTEST_S = 60.0
LONGEST_S = 366 * 86_400.0
_FACTORS: Mapping[str, float] = {"closer": 0.5, "wider": 2.0}
_SHIFTS: Mapping[str, float] = {"earlier": -0.5, "later": 0.5}


def chosen(span: str, now_unix_s: float, job: Job | None) -> Window:
    """The job's hours, or a span up to now; without a job its span is the last twelve hours."""
    if span == JOB_SPAN and job is not None:
        return job.day.start_unix_s, job.day.end_unix_s
    return now_unix_s - SPANS_S["12h" if span == JOB_SPAN else span], now_unix_s


def moved(window: Window, move: str) -> Window:
    """Half a window to the side, or half or twice as wide around the middle, from a minute to a year."""
    width_s = window[1] - window[0]
    if move in _SHIFTS:
        shift_s = _SHIFTS[move] * width_s
        return window[0] + shift_s, window[1] + shift_s
    middle_unix_s = (window[0] + window[1]) / 2.0
    half_s = min(max(width_s * _FACTORS[move], SHORTEST_S), LONGEST_S) / 2.0
    return middle_unix_s - half_s, middle_unix_s + half_s


def dragged(relayout: Mapping[str, object], zone: ZoneInfo) -> Window | None:
    """The window that was dragged open in the figure, whose axis reads as local time; None if none was."""
    ends = [relayout[key] for key in sorted(relayout) if key.startswith("xaxis") and ".range[" in key]
    if len(ends) < 2:
        return None
    start_unix_s, end_unix_s = (
        datetime.fromisoformat(str(end)).replace(tzinfo=zone).timestamp() for end in ends[:2]
    )
    return start_unix_s, max(end_unix_s, start_unix_s + SHORTEST_S)
