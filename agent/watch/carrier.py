"""Decides what the level of a carrier is, from single readings: robust, with its noise, dips and lock."""

from dataclasses import dataclass, field
from math import inf, isnan, nan

from agent.records import Signal
from agent.watch.reference import FIRST_MINUTES
from agent.watch.series import BY_HAND_OLD_S, GRID_S, Cells, Interval, forget

# A coarse quality figure of 0 to 100 % is read as this many dB a percent: DVB-S2's MODCODs span 18.4 dB
# (EN 302 307-1 Table 13, QPSK 1/4 to 32APSK 9/10), and makers map somewhat less than that to the full scale.
QUALITY_DB_PER_PERCENT = 0.15
FIFTH_DB = 20.0 * QUALITY_DB_PER_PERCENT  # a figure of five steps moves in fifths
COARSE_DB = 0.9  # a figure in steps of this and more tells fewer losses apart than there are MODCODs
# In which modems show what they do not show in tenths (common practice).
GRIDS_DB = (FIFTH_DB, 1.0, 0.5, 0.25)
CHANGES_THAT_TELL = 3  # of the value, of which the smallest is then taken for the display's step (judgement)
VALUES_THAT_TELL = 10  # that all stood on one grid: then it is taken for the display's (judgement)
LOST_DB = -10.0  # stands for "no lock": below every MODCOD of EN 302 307-1
LEVEL_WINDOW_S = 60.0  # long against scintillation, short against what is judged (judgement)
LEVEL_LEAST = 3  # cells: of fewer the median is no better than the mean
STALE_SPACINGS = 4.0  # three readings lost in a row are no chance (judgement)
DIP_DB = 3.0  # half of the power gone within a cell counts as a dip
DIP_STEPS = 1.5  # a coarse figure that toggles between two neighbours has not dipped
DIP_LONGEST_S = 90.0  # what stays longer parks there, or is no obstacle (judgement)
# For so long its length is a feature, so that a decision in rain or peaking may wait for the next.
DIP_TOLD_S = 60.0
DIP_BACK_DB = 1.0  # closer to where it was than this, it is over
DIP_LEVEL_S = 300.0  # of before it, three times the longest dip and more
DIPS_WITHIN_S = 600.0  # further apart, drops are one passer-by each (judgement)
CELLS_KEPT = int(DIP_LEVEL_S / GRID_S) + 2  # as many as the longest look back takes
NOISE_START_DB = 0.1  # a modem's last digit, until the minutes tell
# Half an hour counts, a fade or step does not pass for noise (judgement).
NOISE_KEEP, NOISE_STEP_DB = 0.97, 0.5
ROUNDING = 1e-6  # of binary fractions
SETTLE_S = 120.0  # lock to online takes one to two minutes (common practice)


def quality_db(signal: Signal) -> tuple[float, str]:
    """The reading's figure in dB and its name: Es/N0, else C/N, else the coarse quality; NaN and "" if none.

    C/N and the coarse figure are good for differences only.
    """
    if signal.locked is False:
        return LOST_DB, "lost"
    if signal.esno_db is not None:
        return signal.esno_db, "Es/N0"
    if signal.cn_db is not None:
        return signal.cn_db, "C/N"
    if signal.quality_percent is not None:
        return signal.quality_percent * QUALITY_DB_PER_PERCENT, "quality"
    return nan, ""


def _on_grid(value_db: float, grid_db: float) -> bool:
    steps = value_db / grid_db
    return abs(steps - round(steps)) < ROUNDING


@dataclass(slots=True)
class Carrier:
    """Follows one figure of the modem in dB."""

    measure: str = ""
    interval: Interval = field(default_factory=Interval)
    cells: Cells = field(default_factory=lambda: Cells(keep=CELLS_KEPT))
    minute: Cells = field(default_factory=lambda: Cells(keep=FIRST_MINUTES))
    noise_db: float = NOISE_START_DB
    dips_unix_s: list[float] = field(default_factory=list)
    in_dip: bool = False
    dip_start_unix_s: float = -inf
    dip_db_s: float = 0.0  # drop by time of this one
    dip_deepest_db: float = 0.0
    dip_s: float = 0.0  # how long the last one lasted, as wide as it would be at its full depth
    lowest_db: float = inf  # of the open cell
    locked: bool = True
    lock_changed_unix_s: float = -inf
    last_db: float = nan
    finest_db: float = inf
    changes: int = 0
    grid_db: float = FIFTH_DB  # the widest of the usual steps on which every value has stood
    values_seen: int = 0
    by_hand: bool = False  # a person read the newest value

    def add(self, unix_s: float, value_db: float, measure: str, by_hand: bool = False) -> None:
        """One reading; `measure` says which figure it is ("lost" for no lock)."""
        self.by_hand = by_hand
        self.interval.seen(unix_s, by_hand)
        if measure != "lost":
            self.measure = measure
            self._follow_resolution(value_db)
        if (measure != "lost") != self.locked:
            self.locked = measure != "lost"
            self.lock_changed_unix_s = unix_s
        self.cells.add(value_db)
        self.lowest_db = min(self.lowest_db, value_db)

    def _follow_resolution(self, value_db: float) -> None:
        self.values_seen += 1
        if value_db == self.last_db:
            return
        step_db = abs(value_db - self.last_db)
        if step_db > 0.0:  # the first value has nothing to step from
            self.changes += 1
            if step_db < self.finest_db:
                self.finest_db = step_db
        while self.grid_db and not _on_grid(value_db, self.grid_db):
            self.grid_db = next((grid for grid in GRIDS_DB if grid < self.grid_db), 0.0)
        self.last_db = value_db

    @property
    def resolution_db(self) -> float:
        """The smallest step that the figure can make, as far as it has shown; 0 while it has shown none."""
        if self.measure == "quality" and self.grid_db == FIFTH_DB:
            return FIFTH_DB
        if self.changes >= CHANGES_THAT_TELL:
            return self.finest_db
        return self.grid_db if self.values_seen >= VALUES_THAT_TELL else 0.0

    def close(self, unix_s: float) -> float:
        """Close the grid cell that ends at `unix_s`; returns its mean (dB) or NaN."""
        mean = self.cells.mean()
        if not isnan(mean):
            self.minute.add(mean)
            self._follow_dips(unix_s, mean)
            self.cells.close(unix_s)
            self.lowest_db = inf
        if unix_s % 60.0 == 0.0:
            self._close_minute(unix_s)
        return mean

    def _follow_dips(self, unix_s: float, mean_db: float) -> None:
        forget(self.dips_unix_s, unix_s - DIPS_WITHIN_S)
        drop_db = max(DIP_DB, DIP_STEPS * self.resolution_db)
        if not self.in_dip and max(self.cells.values, default=mean_db) - mean_db < drop_db:
            return
        before_db = self.cells.level(unix_s - GRID_S, DIP_LEVEL_S, LEVEL_LEAST)
        fell = before_db - mean_db >= drop_db
        if fell and not self.in_dip:
            self.dip_start_unix_s, self.dip_db_s, self.dip_deepest_db = unix_s, 0.0, 0.0
        # Only a drop that came back soon is a dip; one that stays is for others to judge.
        lasted_s, back = unix_s - self.dip_start_unix_s, mean_db > before_db - DIP_BACK_DB
        if self.in_dip and back and lasted_s <= DIP_LONGEST_S:
            self.dips_unix_s.append(unix_s)
            self.dip_s = self.dip_db_s / self.dip_deepest_db
        self.in_dip = fell or (self.in_dip and not back and lasted_s <= DIP_LONGEST_S)
        if self.in_dip:
            self.dip_db_s += GRID_S * (before_db - mean_db)
            self.dip_deepest_db = max(self.dip_deepest_db, before_db - self.lowest_db)

    def last_dip_s(self, unix_s: float) -> float:
        """How long the last dip lasted (s), for a minute after it; 0 otherwise."""
        recent = bool(self.dips_unix_s) and unix_s - self.dips_unix_s[-1] <= DIP_TOLD_S
        return self.dip_s if recent else 0.0

    def _close_minute(self, unix_s: float) -> None:
        last = self.minute.values[-1] if self.minute.values else nan
        mean = self.minute.close(unix_s)
        if isnan(mean) or isnan(last):
            return
        step_db = min(abs(mean - last), NOISE_STEP_DB)
        self.noise_db = (NOISE_KEEP * self.noise_db**2 + (1.0 - NOISE_KEEP) * 0.5 * step_db**2) ** 0.5

    def level_db(self, unix_s: float) -> float:
        """Median of the last minute (of three cells at least), NaN when nothing came for long.

        Of what is read by hand, the newest: it is settled, and a correction replaces a slip.
        """
        if not self.cells.unix_s or unix_s - self.cells.unix_s[-1] > self.stale_after_s():
            return nan
        if self.by_hand:
            return self.latest_db()
        return self.cells.level(unix_s, LEVEL_WINDOW_S, LEVEL_LEAST)

    def latest_db(self) -> float:
        """The newest cell (dB), NaN before the first."""
        return self.cells.values[-1] if self.cells.values else nan

    def stale_after_s(self) -> float:
        """How old the newest cell may be and still stand for now."""
        if self.by_hand:
            return BY_HAND_OLD_S
        if isnan(self.interval.typical_s):
            return LEVEL_WINDOW_S
        return max(LEVEL_WINDOW_S, STALE_SPACINGS * self.interval.typical_s)

    def minutes(self, unix_s: float) -> list[float]:
        """The means of the last ten minutes, oldest first; of the last ten readings where they come rarer."""
        if self.interval.typical_s > 60.0:
            return list(self.minute.values)
        return self.minute.since(unix_s - 60.0 * (FIRST_MINUTES - 1) - 1.0)

    def locked_throughout(self, unix_s: float) -> bool:
        """Whether the level of now holds no moment without lock."""
        return self.locked and unix_s - self.lock_changed_unix_s > LEVEL_WINDOW_S + GRID_S

    def settling(self, unix_s: float) -> bool:
        """Whether lock came back so recently that the link may not be online."""
        return self.locked and unix_s - self.lock_changed_unix_s < SETTLE_S
