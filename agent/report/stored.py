"""One day out of the agent's or the desk's store, as a session, with the alerts that the crew saw."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from agent.config_desk import DeskDatabase
from agent.errors import UsageError
from agent.job import Job
from agent.plan.span import Span
from agent.planning.store import covers
from agent.records import KINDS, AlertEvent
from agent.replay.sessions import Session
from agent.store.jobs import chosen_terminal, stored_job, stored_plan
from agent.store.place import Place, open_place
from agent.store.questions import Connection
from agent.store.reader import events, readings_between, shown_times
from agent.store.shown import ShownTimes

# What a desk has of a day; replayed, it need not give the alerts that were raised live.
THINNED = " (at the desk: of a minute the median, where not every reading was sent)"


@dataclass(frozen=True, slots=True)
class StoredDay:
    """The day's readings as a session and its alert events as raised live; `times`: how people know those."""

    session: Session
    events: Sequence[AlertEvent]
    times: ShownTimes


def stored_day(place: Place, day: str, terminal: str | None) -> StoredDay:
    """The day `day` (such as 2026-07-18, by the site's calendar) of a terminal in the store at `place`.

    Raises UsageError where the store does not have it. `terminal` may be left out where there is only one.
    """
    with open_place(place) as connection:
        name = chosen_terminal(connection, place, terminal)
        job, plan = stored_job(connection, name), stored_plan(connection, name)
        times = shown_times(connection, name)
        known = _day_span(day, ZoneInfo(job.site.time_zone))
        span = Span(times.engine(known.start_unix_s), times.engine(known.end_unix_s))
        readings = readings_between(connection, name, span.start_unix_s, span.end_unix_s)
        if not readings:
            raise UsageError(
                f"store {place}: holds no reading of {name} on {day}; {_held(connection, name, job)}"
            )
        raised = [one for one in events(connection, name) if one.unix_s < span.end_unix_s]
    start_unix_s = max(span.start_unix_s, readings[0].unix_s)
    end_unix_s = min(span.end_unix_s, readings[-1].unix_s)
    shown = Span(times.shown(start_unix_s), times.shown(end_unix_s))
    session = Session(
        title=f"{job.site.name}, {day}{THINNED if isinstance(place, DeskDatabase) else ''}",
        terminal=name,
        start_unix_s=start_unix_s,
        end_unix_s=end_unix_s,
        provenance="stored",
        story="",
        config_text="",
        job=job,
        readings=readings,
        labels=None,
        plan=plan if plan is not None and covers(plan, shown) else None,
    )
    return StoredDay(session, raised, times)


def _day_span(day: str, zone: ZoneInfo) -> Span:
    try:
        first = date.fromisoformat(day)
    except ValueError:
        raise UsageError(f"--day is {day!r}; expected a date such as 2026-07-18") from None
    start, end = (datetime.combine(one, time(), zone) for one in (first, first + timedelta(days=1)))
    return Span(start.timestamp(), end.timestamp())


def _held(connection: Connection, terminal: str, job: Job) -> str:
    """In words, the days of which the store has readings."""
    times = shown_times(connection, terminal)
    edges = [
        connection.execute(
            f'SELECT min(unix_s), max(unix_s) FROM "{kind}" WHERE terminal = ?', (terminal,)
        ).fetchone()
        for kind in KINDS
    ]
    edges.append(
        connection.execute(
            "SELECT min(first_unix_s), max(last_unix_s) FROM packed WHERE terminal = ?", (terminal,)
        ).fetchone()
    )
    found = [edge for edge in edges if edge[0] is not None]
    if not found:
        return "it holds none of that terminal at all"
    zone = ZoneInfo(job.site.time_zone)
    first, last = (
        datetime.fromtimestamp(times.shown(unix_s), UTC).astimezone(zone).date()
        for unix_s in (min(edge[0] for edge in found), max(edge[1] for edge in found))
    )
    return f"it has readings from {first} to {last}"
