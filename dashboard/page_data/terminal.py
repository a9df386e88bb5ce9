"""What one page shows of one terminal: found by the queries, in one state of the store."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from urllib.parse import parse_qs
from zoneinfo import ZoneInfo

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.store.opening import StoreError
from agent.store.place import Place
from agent.store.questions import Connection
from agent.store.reader import InputState, input_states
from agent.store.room import room_left
from dashboard import messages, queries, words
from dashboard.settings import Settings

TREND_SPAN_S = 7200.0
NOTES_SHOWN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewData:
    """All that one refresh of the crew's page needs."""

    current: queries.CurrentSituation
    job: Job | None
    history: queries.History
    notes: tuple[queries.NoteRow, ...]
    inputs: tuple[InputState, ...]
    seen_by: Mapping[str, str]

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone; UTC as long as no plan is stored."""
        return site_zone(self.job)


def site_zone(job: Job | None) -> ZoneInfo:
    """The time zone of the job's site; UTC as long as no plan is stored."""
    return ZoneInfo("UTC" if job is None else job.site.time_zone)


def asked_terminal(search: str | None) -> str | None:
    """The terminal that the address names, as in `?terminal=van-2`."""
    return parse_qs((search or "").removeprefix("?")).get("terminal", [None])[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Whose:
    """The terminal that a page is of (None: none is known), its job, why the one asked for is refused."""

    terminal: str | None = None
    job: Job | None = None
    refusal: str | None = None


def whose_page(settings: Settings, asked: str | None) -> Whose:
    """Of the terminal asked for, else of the one in the settings, else of the newest."""
    try:
        with queries.open_store(settings.store) as connection:
            named = asked or settings.terminal or queries.newest_terminal(connection)
            known = queries.known_terminals(connection)
            terminal = named or next(iter(known), None)
            job = None if terminal is None else queries.job(connection, terminal)
    except StoreError:
        return Whose(terminal=asked or settings.terminal)
    if asked is None or asked in known or asked == settings.terminal:
        return Whose(terminal=terminal, job=job)
    names = ", ".join(known) or words.NO_NUMBER
    return Whose(refusal=words.UNKNOWN_TERMINAL.format(terminal=asked, known=names))


def terminal_of(
    connection: Connection, settings: Settings, named: str | None
) -> queries.CurrentSituation | None:
    """The situation of the terminal that is named, here or else in the settings, else of the newest."""
    terminal = named or settings.terminal or queries.newest_terminal(connection)
    return None if terminal is None else queries.current(connection, terminal)


def crew_data(settings: Settings, named: str | None) -> CrewData | None:
    """What the store knows of the terminal; None as long as it has no situation."""
    with queries.open_store(settings.store) as connection:
        current = terminal_of(connection, settings, named)
        if current is None:
            return None
        end_unix_s = current.situation.unix_s
        return CrewData(
            current=current,
            job=queries.job(connection, current.terminal),
            history=queries.history(connection, current.terminal, end_unix_s - TREND_SPAN_S, end_unix_s),
            notes=queries.latest_notes(connection, current.terminal, NOTES_SHOWN),
            inputs=(*_disk(settings.store), *input_states(connection, current.terminal)),
            seen_by=queries.seen_by(connection, current.terminal, current.situation.alerts),
        )


def written_age_s(current: queries.CurrentSituation, settings: Settings, wall_unix_s: float) -> float:
    """How long ago the agent wrote; what is of a time to come is as little of now: a clock was set back.

    At a desk the terminal's clock, which may be ahead of this one, has said when.
    """
    age_s = wall_unix_s - current.written_wall_unix_s
    return max(0.0, age_s) if settings.desk else abs(age_s)


def _disk(store: Place) -> Iterator[InputState]:
    """The disk where it is almost full; the agent itself could not write it down."""
    if not isinstance(store, Path):
        return
    urgency, text = room_left(store)
    if urgency == "urgent":
        yield InputState(name="disk", state="failing", since=datetime.now(UTC), error=text, finding=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """Whom a message speaks of, and the agent's time that it carries."""

    terminal: str | None
    unix_s: float
    zone: ZoneInfo


def moment(settings: Settings, named: str | None, wall_unix_s: float) -> Moment:
    """The agent's time at `wall_unix_s`; the computer's own where the store cannot be read or is empty.

    A note must get through even then: the agent may be well and only the store out of this page's reach.
    """
    terminal = named or settings.terminal
    try:
        with queries.open_store(settings.store) as connection:
            terminal = terminal or queries.newest_terminal(connection)
            current = None if terminal is None else queries.current(connection, terminal)
            job = None if terminal is None else queries.job(connection, terminal)
    except StoreError:
        return Moment(terminal=terminal, unix_s=wall_unix_s, zone=site_zone(None))
    unix_s = messages.agent_time(current, settings.speed, wall_unix_s)
    return Moment(terminal=terminal, unix_s=unix_s, zone=site_zone(job))


def plan_data(settings: Settings, named: str | None) -> tuple[Job, LinkPlan] | None:
    """Job and plan of the terminal asked for, also before its first situation; None without a plan."""
    with queries.open_store(settings.store) as connection:
        newest = named or settings.terminal or queries.newest_terminal(connection)
        terminal = newest or next(iter(queries.known_terminals(connection)), None)
        job = None if terminal is None else queries.job(connection, terminal)
        plan = None if terminal is None else queries.plan(connection, terminal)
    return None if job is None or plan is None else (job, plan)
