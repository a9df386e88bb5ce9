"""The time a plan covers: whole days on the site's own calendar."""

from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

from agent.job import Job


@dataclass(frozen=True, slots=True)
class Span:
    """From start to end, Unix seconds."""

    start_unix_s: float
    end_unix_s: float

    def contains(self, unix_s: float) -> bool:
        """Whether the moment lies in the span."""
        return self.start_unix_s <= unix_s < self.end_unix_s


def job_days(job: Job) -> Span:
    """The days of the job, from the site's midnight before its start to the midnight after its end."""
    return Span(_midnight(job, job.day.start_unix_s, 0), _midnight(job, job.day.end_unix_s, 1))


def days_covering(job: Job, unix_s: float) -> Span:
    """The days of the job where they hold this moment, else the moment's own day at the site."""
    days = job_days(job)
    if days.contains(unix_s):
        return days
    return Span(_midnight(job, unix_s, 0), _midnight(job, unix_s, 1))


def _midnight(job: Job, unix_s: float, days_later: int) -> float:
    zone = ZoneInfo(job.site.time_zone)
    date = datetime.fromtimestamp(unix_s, UTC).astimezone(zone).date() + timedelta(days=days_later)
    return datetime.combine(date, time(), zone).timestamp()
