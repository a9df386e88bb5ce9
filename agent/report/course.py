"""A day once more through the alert engine, with what it knew at every full minute."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, nan

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.records import AlertEvent, AnyReading
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import RuleSet

MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class Course:
    """The engine's figures at full minutes, in the order of time; a key that is absent was not known then."""

    unix_s: tuple[float, ...]
    figures: tuple[Mapping[str, float], ...]

    def line(self, name: str) -> tuple[float, ...]:
        """One figure at every minute, NaN where it was not known."""
        return tuple(one.get(name, nan) for one in self.figures)


def course_and_events(
    readings: Sequence[AnyReading], job: Job, plan: LinkPlan, rules: RuleSet, end_unix_s: float
) -> tuple[Course, list[AlertEvent]]:
    """The engine over `readings` (at least one, in the order in which they came), then on to `end_unix_s`.

    Asking for the minutes changes no event: the engine decides on its own grid of time.
    """
    engine = AlertEngine(job, plan, rules)
    events: list[AlertEvent] = []
    minutes: list[float] = []
    figures: list[Mapping[str, float]] = []
    minute_unix_s = ceil(readings[0].unix_s / MINUTE_S) * MINUTE_S
    for reading in (*readings, None):
        until_unix_s = end_unix_s if reading is None else reading.unix_s
        while minute_unix_s <= until_unix_s:
            events += engine.advance(minute_unix_s)
            minutes.append(minute_unix_s)
            figures.append(engine.situation().figures)
            minute_unix_s += MINUTE_S
        events += engine.advance(end_unix_s) if reading is None else engine.update(reading)
    return Course(tuple(minutes), tuple(figures)), events
