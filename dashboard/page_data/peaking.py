"""What whoever turns the dish needs to see: the level now, the best so far, and where it goes."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from agent.store.reader import shown_times
from agent.watch.reference import PEAKING_LONGEST_S
from dashboard import hand_queries, messages, queries
from dashboard.page_data.terminal import terminal_of
from dashboard.settings import Settings

Way = Literal["rises", "falls", "steady"]

# A look back over less than this compares the modem's own noise; what is more than noise (judgement).
LOOK_BACK_S = 3.0
NOTICED = {"esno_db": 0.15, "cn_db": 0.15, "quality_percent": 1.5}


@dataclass(frozen=True, slots=True, kw_only=True)
class Peaking:
    """Levels in the unit of `figure`, None where not known; `age_s` is that of the newest (s)."""

    figure: str | None
    locked: bool
    level: float | None = None
    best: float | None = None
    plan: float | None = None
    before: float | None = None
    way: Way | None = None
    age_s: float | None = None


def peaking_data(settings: Settings, named: str | None, wall_unix_s: float) -> Peaking | None:
    """The figures of a peaking under way; None where nobody peaks."""
    with queries.open_store(settings.store) as connection:
        current = terminal_of(connection, settings, named)
        if current is None:
            return None
        told_unix_s = messages.agent_time(current, settings.speed, wall_unix_s)
        now_unix_s = shown_times(connection, current.terminal).engine(told_unix_s)
        since_unix_s = since(hand_queries.peaking_since(connection, current.terminal), now_unix_s)
        if since_unix_s is None:
            return None
        newest = hand_queries.newest_signal(connection, current.terminal)
        if newest is None or newest.figure is None:
            return Peaking(figure=None, locked=newest is not None and newest.locked)
        field = newest.figure
        levels, best = hand_queries.peaking_levels(connection, current.terminal, field, since_unix_s)
    figures = current.situation.figures
    reference = "reference_quality_percent" if field == "quality_percent" else "reference_db"
    return Peaking(
        figure=field,
        locked=newest.locked,
        level=levels[0][1] if levels else None,
        best=best,
        plan=figures.get(f"plan_{field}"),
        before=figures.get(reference),
        way=way_of(levels, NOTICED[field]),
        age_s=max(0.0, (now_unix_s - newest.unix_s) / settings.speed),
    )


def since(started_unix_s: float | None, now_unix_s: float) -> float | None:
    """The start of a peaking that the watch still takes for one."""
    if started_unix_s is None or now_unix_s - started_unix_s >= PEAKING_LONGEST_S:
        return None
    return started_unix_s


def way_of(levels: Sequence[tuple[float, float]], noticed: float) -> Way | None:
    """Whether the level rises or falls, of (time, level) newest first; None where one alone is known."""
    if len(levels) < 2:
        return None
    newest_unix_s, newest = levels[0]
    earlier = next(
        (level for unix_s, level in levels if newest_unix_s - unix_s >= LOOK_BACK_S), levels[-1][1]
    )
    change = newest - earlier
    if abs(change) < noticed:
        return "steady"
    return "rises" if change > 0.0 else "falls"
