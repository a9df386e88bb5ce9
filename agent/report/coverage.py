"""How much of the day each input covered, and what was wrong with its clock."""

from collections.abc import Sequence
from dataclasses import dataclass

from agent.plan.span import Span
from agent.records import KINDS, AnyReading, Temperature
from agent.report.steps import steps

# Notes and acknowledgements come when there is something to say.
MEASURED_KINDS = ("signal", "throughput", "temperature", "weather", "power")


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """One input: `name` is its kind, with the place of a thermometer; `known_s` of `span_s` are covered."""

    name: str
    readings: int
    known_s: float
    span_s: float
    longest_gap_s: float
    clock_refused: int

    @property
    def percent(self) -> float:
        """Share of the span that its readings stand for."""
        return 100.0 * self.known_s / self.span_s


def coverages(readings: Sequence[AnyReading], span: Span) -> tuple[Coverage, ...]:
    """Every input that was heard within `span`, and those kinds that were not, with 0 readings."""
    inputs: dict[str, list[AnyReading]] = {}
    for kind in MEASURED_KINDS:
        for reading in readings:
            if isinstance(reading, KINDS[kind]) and span.contains(reading.unix_s):
                name = f"{kind}, {reading.where}" if isinstance(reading, Temperature) else kind
                inputs.setdefault(name, []).append(reading)
        if not any(name.startswith(kind) for name in inputs):
            inputs[kind] = []
    return tuple(_coverage(name, heard, span) for name, heard in inputs.items())


def _coverage(name: str, heard: Sequence[AnyReading], span: Span) -> Coverage:
    times = [reading.unix_s for reading in heard]
    course = steps(times, [True] * len(times), span)
    edges = [span.start_unix_s, *times, span.end_unix_s]
    return Coverage(
        name=name,
        readings=len(times),
        known_s=course.known_s,
        span_s=span.end_unix_s - span.start_unix_s,
        longest_gap_s=max(later - earlier for earlier, later in zip(edges, edges[1:], strict=False)),
        clock_refused=sum(reading.sent_unix_s is not None for reading in heard),
    )
