"""A session by the clock that people know, where the computer's own was set while it was recorded. Pure."""

from collections.abc import Sequence
from dataclasses import replace

from agent.records import AlertEvent
from agent.replay.labels import moved
from agent.replay.sessions import Session
from agent.store.shown import ShownTimes, shown_event


def shown_session(session: Session, times: ShownTimes) -> Session:
    """For people: no engine would decide the same with these times."""
    if times.is_engine:
        return session
    return replace(
        session,
        start_unix_s=times.shown(session.start_unix_s),
        end_unix_s=times.shown(session.end_unix_s),
        readings=[replace(one, unix_s=times.shown(one.unix_s)) for one in session.readings],
        labels=None if session.labels is None else moved(session.labels, times.shown),
    )


def shown_events(events: Sequence[AlertEvent], times: ShownTimes) -> list[AlertEvent]:
    """Each as it was known when it was said."""
    return [shown_event(one, times.offset_s(one.unix_s)) for one in events]
