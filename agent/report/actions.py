"""What the crew did, and what it did to the temperature and to the signal."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import inf, nan

import numpy as np

from agent.records import AnyReading, Note, NoteKind, Signal, Temperature
from agent.watch.reference import PEAKING_LONGEST_S

# Before: the five minutes up to the deed. After a re-peak: five minutes, once the drives have stopped and
# the modem's averages have caught up. After a shade: five minutes, half an hour on: housings are slow.
WINDOW_S = 300.0
SETTLE_S = 60.0
SHADE_AFTER_S = 1800.0
UNNAMED_UNIT = "transmitter"


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One deed of the crew. `before` and `after` in `unit` (°C, dB); NaN where nothing was measured then."""

    kind: NoteKind
    start_unix_s: float
    end_unix_s: float
    by: str
    where: str
    text: str
    before: float = nan
    after: float = nan
    unit: str = ""

    @property
    def change(self) -> float:
        """After minus before."""
        return self.after - self.before


def actions(readings: Sequence[AnyReading]) -> tuple[Action, ...]:
    """Every note in the order of time; the start and the end of a peaking are one action."""
    notes = [reading for reading in readings if isinstance(reading, Note)]
    temperatures = [reading for reading in readings if isinstance(reading, Temperature)]
    signals = [reading for reading in readings if isinstance(reading, Signal)]
    return tuple(
        _shade(note, temperatures)
        if note.kind in ("shade-on", "shade-off")
        else _peak(note, end_unix_s, signals)
        if note.kind == "peak-start"
        else _plain(note, note.unix_s)
        for note, end_unix_s in _paired(notes)
    )


def _paired(notes: Sequence[Note]) -> Iterator[tuple[Note, float]]:
    """The notes with the time at which their deed ended; a peak-done that ends a peaking is left out."""
    ends = [note.unix_s for note in notes if note.kind == "peak-done"]
    starts = [note.unix_s for note in notes if note.kind == "peak-start"]
    for note in notes:
        if note.kind == "peak-start":
            following = min((start for start in starts if start > note.unix_s), default=inf)
            limit_unix_s = min(following, note.unix_s + PEAKING_LONGEST_S)
            yield note, min((end for end in ends if note.unix_s <= end <= limit_unix_s), default=limit_unix_s)
        elif note.kind != "peak-done" or not any(
            0.0 <= note.unix_s - start <= PEAKING_LONGEST_S for start in starts
        ):
            yield note, note.unix_s


def _shade(note: Note, temperatures: Sequence[Temperature]) -> Action:
    where = note.where or UNNAMED_UNIT
    course = [(one.unix_s, one.temperature_degc) for one in temperatures if one.where == where]
    return _plain(
        note,
        note.unix_s,
        before=_median(course, note.unix_s - WINDOW_S, note.unix_s),
        after=_median(course, note.unix_s + SHADE_AFTER_S - WINDOW_S, note.unix_s + SHADE_AFTER_S),
        unit="°C",
    )


def _peak(note: Note, end_unix_s: float, signals: Sequence[Signal]) -> Action:
    course = [(one.unix_s, one.esno_db) for one in signals if one.esno_db is not None]
    settled = end_unix_s + SETTLE_S
    return _plain(
        note,
        end_unix_s,
        before=_median(course, note.unix_s - WINDOW_S, note.unix_s),
        after=_median(course, settled, settled + WINDOW_S),
        unit="dB",
    )


def _plain(note: Note, end_unix_s: float, before: float = nan, after: float = nan, unit: str = "") -> Action:
    return Action(
        kind=note.kind,
        start_unix_s=note.unix_s,
        end_unix_s=end_unix_s,
        by=note.by or "",
        where=note.where or "",
        text=note.text or "",
        before=before,
        after=after,
        unit=unit,
    )


def _median(course: Sequence[tuple[float, float]], start_unix_s: float, end_unix_s: float) -> float:
    values = [value for unix_s, value in course if start_unix_s <= unix_s < end_unix_s]
    return float(np.median(values)) if values else nan
