"""Hours of the agent's store as a session."""

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from math import inf
from zoneinfo import ZoneInfo

from agent.errors import UsageError
from agent.job import Job
from agent.plan.span import Span
from agent.planning.store import covers
from agent.records import AnyReading, ClockChange
from agent.replay.job_toml import job_toml
from agent.replay.session_time import rfc3339_from_unix_s, unix_s_from_cell
from agent.replay.sessions import Session
from agent.store.jobs import chosen_terminal, stored_job, stored_plan
from agent.store.place import Place, open_place
from agent.store.reader import last_seq_before, latest_unix_s, readings_between, shown_times
from agent.store.shown import ShownTimes

HEADING = "The job of this recorded session; where broker and store were is left out."


@dataclass(frozen=True, slots=True)
class Recording:
    """`whole` is false where the agent had heard readings before the session starts.

    A whole session replays to the events that were raised live; one cut out of the day has its engine learn
    the reference anew, and may raise others.
    """

    session: Session
    whole: bool


def recorded(
    place: Place, terminal: str | None, start: str | None, end: str | None, title: str | None = None
) -> Recording:
    """The hours from `start` to before `end` of a terminal in the store at `place`.

    Times are RFC 3339, or without an offset local to the site. Without `start` it begins with the first
    reading, without `end` it ends when the agent last decided. Raises UsageError.
    """
    with open_place(place) as connection:
        name = chosen_terminal(connection, place, terminal)
        job = stored_job(connection, name)
        zone = ZoneInfo(job.site.time_zone)
        times = shown_times(connection, name)
        from_unix_s = -inf if start is None else times.engine(moment("--from", start, zone))
        to_unix_s = inf if end is None else times.engine(moment("--to", end, zone))
        if to_unix_s <= from_unix_s:
            raise UsageError(f"--to {end} is not after --from {start}; exchange or correct them")
        whole = last_seq_before(connection, name, from_unix_s) == 0
        readings = readings_between(connection, name, from_unix_s, to_unix_s)
        latest = latest_unix_s(connection, name)
        plan = stored_plan(connection, name)
    if not readings or latest is None:
        raise UsageError(
            f"store {place}: holds no reading of {name} in these hours{_held(latest, times, zone)}"
        )
    first_unix_s = readings[0].unix_s if start is None else from_unix_s
    last_unix_s = max(latest, first_unix_s + 1.0) if end is None else to_unix_s
    session = _session(job, readings, (first_unix_s, last_unix_s), title)
    known = Span(session.times.shown(first_unix_s), session.times.shown(last_unix_s))
    if plan is not None and covers(plan, known):
        session = replace(session, plan=plan)
    return Recording(session, whole=whole)


def _held(latest: float | None, times: ShownTimes, zone: ZoneInfo) -> str:
    if latest is None:
        return "; it holds none of that terminal at all"
    return f"; the agent's last word is of {datetime.fromtimestamp(times.shown(latest), zone):%Y-%m-%d %H:%M}"


def _session(job: Job, readings: list[AnyReading], span: tuple[float, float], title: str | None) -> Session:
    times = ShownTimes(one for one in readings if isinstance(one, ClockChange))
    day = datetime.fromtimestamp(times.shown(span[0]), UTC).astimezone(ZoneInfo(job.site.time_zone))
    return Session(
        title=title or f"{job.site.name}, {day:%Y-%m-%d}",
        terminal=job.terminal,
        start_unix_s=span[0],
        end_unix_s=span[1],
        provenance="recorded",
        story="",
        config_text=job_toml(job, HEADING),
        job=job,
        readings=readings,
        labels=None,
    )


def moment(option: str, text: str, zone: ZoneInfo) -> float:
    """Unix seconds of RFC 3339 or of a local time such as 2026-07-18T09:00; raises UsageError."""
    unix_s = unix_s_from_cell(text)
    if unix_s is not None:
        return unix_s
    try:
        local = datetime.fromisoformat(text)
    except ValueError:
        local = None
    if local is None or local.tzinfo is not None:
        example = rfc3339_from_unix_s(0.0)
        raise UsageError(
            f"{option} is {text!r}; expected 2026-07-18T09:00 at the site, or RFC 3339 ({example})"
        )
    return local.replace(tzinfo=zone).timestamp()
