"""Decides how a figure of the modem stands against its own reference."""

from dataclasses import dataclass, field
from math import nan

from agent.records import Note
from agent.watch.carrier import Carrier
from agent.watch.reference import PEAK_SETTLE_S, Reference


@dataclass(slots=True)
class Followed:
    """How a figure goes, and what it was when the dish was well peaked."""

    carrier: Carrier = field(default_factory=Carrier)
    reference: Reference = field(default_factory=Reference)

    def loss_db(self, unix_s: float) -> float:
        """Reference minus level (dB)."""
        return self.reference.level_db - self.carrier.level_db(unix_s)

    def close(self, unix_s: float, sky_clear: bool, planned_db: float = nan) -> float:
        """Close the grid cell and let the reference follow; the cell's mean (dB), NaN when nothing came.

        `planned_db` is what the plan says of this figure, NaN where it says nothing.
        """
        if not self.carrier.interval.count:
            return nan
        cell_db = self.carrier.close(unix_s)
        if self.reference.peaking(unix_s):
            # Without lock there is no level to take.
            taken_db = cell_db if self.carrier.locked else nan
            settle_s = 0.0 if self.carrier.by_hand else PEAK_SETTLE_S
            self.reference.collect(
                unix_s, taken_db, self.carrier.interval.typical_s, sky_clear, settle_s=settle_s
            )
        elif unix_s % 60.0 == 0.0 and self.carrier.locked:
            self.reference.minute(unix_s, self.carrier.minutes(unix_s), sky_clear, planned_db)
        return cell_db

    def note(self, note: Note) -> None:
        """A peaking ends what was: the next level is the reference."""
        if note.kind == "peak-start":
            self.reference.peak_start(note.unix_s)
        elif note.kind == "peak-done":
            self.reference.peak_done(note.unix_s)
            self.carrier.dips_unix_s.clear()
        elif note.kind == "accept-level" and self.carrier.locked:
            self.reference.accept(note.unix_s, self.carrier.level_db(note.unix_s))
