"""What the engine says, by the computer's clock instead of its own. Pure."""

from collections.abc import Sequence
from dataclasses import replace

from agent.records import ActiveAlert, AlertEvent, Situation


def shown_event(event: AlertEvent, offset_s: float) -> AlertEvent:
    """The event by a clock that is so much ahead of the engine's."""
    if offset_s == 0.0:
        return event
    return replace(
        event,
        unix_s=event.unix_s + offset_s,
        deadline_unix_s=_moved(event.deadline_unix_s, offset_s),
    )


def shown_events(events: Sequence[AlertEvent], offset_s: float) -> list[AlertEvent]:
    """All of them."""
    return [shown_event(event, offset_s) for event in events]


def shown_situation(situation: Situation, offset_s: float) -> Situation:
    """The situation by a clock that is so much ahead of the engine's."""
    if offset_s == 0.0:
        return situation
    return replace(
        situation,
        unix_s=situation.unix_s + offset_s,
        deadline_unix_s=_moved(situation.deadline_unix_s, offset_s),
        next_event_unix_s=_moved(situation.next_event_unix_s, offset_s),
        alerts=tuple(_shown_alert(alert, offset_s) for alert in situation.alerts),
        last_seen_unix_s={name: unix_s + offset_s for name, unix_s in situation.last_seen_unix_s.items()},
    )


def _shown_alert(alert: ActiveAlert, offset_s: float) -> ActiveAlert:
    return replace(
        alert,
        since_unix_s=alert.since_unix_s + offset_s,
        event=shown_event(alert.event, offset_s),
        snoozed_until_unix_s=_moved(alert.snoozed_until_unix_s, offset_s),
    )


def _moved(unix_s: float | None, offset_s: float) -> float | None:
    return None if unix_s is None else unix_s + offset_s
