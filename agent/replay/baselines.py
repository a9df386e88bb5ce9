"""What a plain threshold would have raised: the yardstick beside the engine's score. Pure."""

from collections.abc import Iterable, Iterator, Sequence
from statistics import median

from agent.job import Job
from agent.records import AlertEvent, AlertState, AnyReading, Cause, Note, Signal, Temperature

# A common alarm setting: two dB or ten percent below the value after peaking (common practice).
DROP_DB = 2.0
DROP_PERCENT = 10.0
REFERENCE_READINGS = 60


def fixed_threshold_events(readings: Sequence[AnyReading], job: Job) -> list[AlertEvent]:
    """`repeak` while the carrier is a fixed step below its level after peaking; `shade` over the limit."""
    events = [*_carrier_events(readings), *_heat_events(readings, job.transmitter.limit_degc)]
    return sorted(events, key=lambda event: event.unix_s)


def _carrier_events(readings: Sequence[AnyReading]) -> Iterator[AlertEvent]:
    peaked = next((r.unix_s for r in readings if isinstance(r, Note) and r.kind == "peak-done"), 0.0)
    values = [
        (reading.unix_s, value, drop)
        for reading in readings
        if isinstance(reading, Signal) and reading.unix_s >= peaked
        for value, drop in _level(reading)
    ]
    if not values:
        return
    reference = median(value for _, value, _ in values[:REFERENCE_READINGS])
    low = ((unix_s, value < reference - drop) for unix_s, value, drop in values[REFERENCE_READINGS:])
    yield from _events(low, "repeak", "mispoint")


def _level(reading: Signal) -> list[tuple[float, float]]:
    """The first figure that the modem gives, with the drop that counts."""
    found = [(value, DROP_DB) for value in (reading.esno_db, reading.cn_db) if value is not None]
    if reading.quality_percent is not None:
        found.append((reading.quality_percent, DROP_PERCENT))
    return found[:1]


def _heat_events(readings: Sequence[AnyReading], limit_degc: float) -> Iterator[AlertEvent]:
    over = (
        (reading.unix_s, reading.temperature_degc > limit_degc)
        for reading in readings
        if isinstance(reading, Temperature) and reading.where == "transmitter"
    )
    yield from _events(over, "shade", "overheat")


def _events(states: Iterable[tuple[float, bool]], rule: str, cause: Cause) -> Iterator[AlertEvent]:
    standing = False
    for unix_s, wanted in states:
        if wanted != standing:
            standing = wanted
            state: AlertState = "raised" if wanted else "cleared"
            yield AlertEvent(
                unix_s=unix_s,
                rule=rule,
                severity="act",
                state=state,
                cause=cause,
                action="",
                evidence=(),
                figures={},
            )
