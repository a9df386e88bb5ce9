"""The whole review of one day: every figure that the page, the PDF and the tables show."""

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.span import Span
from agent.records import AlertEvent, AnyReading, Signal, Throughput, without_withdrawn
from agent.replay.sessions import Session
from agent.report.actions import Action, actions
from agent.report.availability import Availabilities, availabilities
from agent.report.balance import Balance, balance
from agent.report.course import Course
from agent.report.coverage import Coverage, coverages
from agent.report.data_used import DataUsed, data_used
from agent.report.episodes import Episode, episodes
from agent.report.levels import Distribution, distributions
from agent.report.rates import Rates, rates
from agent.report.words import SiteTime


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """One day. All figures are those of `span`: the job's hours as far as the session covers them."""

    name: str
    title: str
    story: str
    provenance: str
    job: Job
    plan: LinkPlan
    span: Span
    clock: SiteTime
    readings: Sequence[AnyReading]
    course: Course
    availability: Availabilities
    down: Distribution
    up: Distribution
    episodes: tuple[Episode, ...]
    actions: tuple[Action, ...]
    balance: Balance
    rates: Rates
    data: DataUsed
    coverage: tuple[Coverage, ...]

    @property
    def length_s(self) -> float:
        """How long the reviewed hours are (s)."""
        return self.span.end_unix_s - self.span.start_unix_s


def reviewed_span(session: Session) -> Span:
    """The job's hours within the session; the session's own where it lies outside of them."""
    day = session.job.day
    start = max(day.start_unix_s, session.start_unix_s)
    end = min(day.end_unix_s, session.end_unix_s)
    return Span(start, end) if start < end else Span(session.start_unix_s, session.end_unix_s)


def review(
    name: str, session: Session, plan: LinkPlan, course: Course, events: Sequence[AlertEvent]
) -> Review:
    """Compute everything; `course` and `events` are the engine's over the session's readings."""
    span, job, readings = reviewed_span(session), session.job, without_withdrawn(session.readings)
    signals = [one for one in readings if isinstance(one, Signal)]
    tests = [one for one in readings if isinstance(one, Throughput)]
    down, up = distributions(signals, plan, span)
    deeds = tuple(one for one in actions(readings) if span.contains(one.start_unix_s))
    found = (one for one in episodes(events, deeds) if _touches(one, span))
    return Review(
        name=name,
        title=session.title,
        story=session.story,
        provenance=session.provenance,
        job=job,
        plan=plan,
        span=span,
        clock=SiteTime(ZoneInfo(job.site.time_zone), span.start_unix_s),
        readings=readings,
        course=course,
        availability=availabilities(signals, tests, plan, job.service, span),
        down=down,
        up=up,
        episodes=tuple(found),
        actions=deeds,
        balance=balance(readings, plan.heat.sunshine, job, span),
        rates=rates(tests, job.service, span),
        data=data_used(tests, job.service, span),
        coverage=coverages(readings, span),
    )


def _touches(episode: Episode, span: Span) -> bool:
    ended = episode.end_unix_s is not None and episode.end_unix_s <= span.start_unix_s
    return not ended and episode.start_unix_s < span.end_unix_s
