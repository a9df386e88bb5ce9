"""What the engine says, by the computer's clock instead of its own. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import inf, nextafter

from agent.clock import CORRECTION_S
from agent.records import ActiveAlert, AlertEvent, ClockChange, Situation


@dataclass(frozen=True, slots=True)
class Stretch:
    """From start to end by the engine's clock (s, both within), people's clock is `offset_s` ahead."""

    start_unix_s: float
    end_unix_s: float
    offset_s: float


class ShownTimes:
    """From the engine's time to the one that people know, and back.

    While one run of the agent lasts its time is steady, and the last correction of the computer's clock is
    the best that is known: it holds for all of that run. An earlier run goes by what was known at its end.
    """

    def __init__(self, changes: Iterable[ClockChange] = ()) -> None:
        """The changes in their order."""
        self.stretches: list[Stretch] = []
        start_unix_s, offset_s = -inf, 0.0
        for change in changes:
            follows = abs(change.offset_s - offset_s - change.stepped_s) <= CORRECTION_S
            if change.restarted or not follows:
                self._append(Stretch(start_unix_s, change.unix_s, offset_s))
                start_unix_s = nextafter(change.unix_s, inf)
            offset_s = change.offset_s
        self._append(Stretch(start_unix_s, inf, offset_s))

    def _append(self, one: Stretch) -> None:
        last = self.stretches[-1] if self.stretches else None
        if last is not None and last.offset_s == one.offset_s:
            self.stretches[-1] = replace(last, end_unix_s=one.end_unix_s)
        elif one.start_unix_s <= one.end_unix_s:
            self.stretches.append(one)

    @property
    def is_engine(self) -> bool:
        """Whether people's clock was the engine's throughout."""
        return all(one.offset_s == 0.0 for one in self.stretches)

    def shown(self, engine_unix_s: float) -> float:
        """The time that people know."""
        return engine_unix_s + self.offset_s(engine_unix_s)

    def offset_s(self, engine_unix_s: float) -> float:
        """By how much people's clock is ahead then."""
        return next(one.offset_s for one in self.stretches if engine_unix_s <= one.end_unix_s)

    def engine(self, shown_unix_s: float) -> float:
        """The engine's time then; of a time that people's clock has shown twice the latter one.

        Of one that it has left out, the next.
        """
        for one in reversed(self.stretches):
            if one.start_unix_s <= shown_unix_s - one.offset_s <= one.end_unix_s:
                return shown_unix_s - one.offset_s
        return next(
            one.start_unix_s for one in self.stretches if one.start_unix_s + one.offset_s > shown_unix_s
        )

    def within(self, start_unix_s: float, end_unix_s: float) -> Iterator[Stretch]:
        """The parts of stretches that people know as [start, end]."""
        for one in self.stretches:
            start = max(one.start_unix_s, start_unix_s - one.offset_s)
            end = min(one.end_unix_s, end_unix_s - one.offset_s)
            if start <= end:
                yield Stretch(start, end, one.offset_s)


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
        alerts=tuple(shown_alert(alert, offset_s) for alert in situation.alerts),
        last_seen_unix_s={name: unix_s + offset_s for name, unix_s in situation.last_seen_unix_s.items()},
    )


def shown_alert(alert: ActiveAlert, offset_s: float) -> ActiveAlert:
    """The alert by a clock that is so much ahead of the engine's."""
    return replace(
        alert,
        since_unix_s=alert.since_unix_s + offset_s,
        event=shown_event(alert.event, offset_s),
        snoozed_until_unix_s=_moved(alert.snoozed_until_unix_s, offset_s),
    )


def _moved(unix_s: float | None, offset_s: float) -> float | None:
    return None if unix_s is None else unix_s + offset_s
