"""Decides what the reference is: the level of a well-peaked dish on this day, against which losses count."""

from dataclasses import dataclass, field
from math import isnan, nan

from agent.watch.series import median

PEAK_SETTLE_S = 20.0  # drives stop and the modem's averaging catches up
# Of two minutes, or three readings where they come rarer, the median is good to 0.1 dB.
PEAK_AVERAGE_S, PEAK_READINGS = 120.0, 3.0
PEAKING_LONGEST_S = 1200.0  # a forgotten "peak-done" must not silence the watch for the day
PART_RECOVERED_DB = 1.0  # a re-peak that leaves more than this below the old reference found no new one
FIRST_MINUTES = 10  # so long nobody holds a dish still who is still peaking it (judgement)
FIRST_SPREAD_DB = 0.8  # noise and scintillation of minute means, and no shower (judgement)
PLAN_AGREES_DB = 1.5  # plan and modem each err by about a dB
HIGHER_DB = 0.3  # a level that stays this much above the reference, more than noise, becomes it (judgement)
DRIFT_WITHIN_DB = 0.6  # further off, something takes it: a re-peak is asked for from 0.7 dB on
# Inclined orbit and temperature move a clear-sky level by some tenths of a dB over half a day; following at
# 0.04 dB an hour keeps up with most of it and costs a slow slide of 0.5 dB an hour less than a tenth.
DRIFT_DB_PER_MINUTE = 0.04 / 60.0


@dataclass(slots=True)
class Reference:
    """Reference level (dB in the carrier's measure) and how it came about."""

    level_db: float = nan
    origin: str = ""  # "peaking", "steady", "accepted", "" when there is none
    accepted_unix_s: float = nan
    peak_start_unix_s: float = nan
    peak_done_unix_s: float = nan
    collected_db: list[float] = field(default_factory=list)
    shortfall_db: float = 0.0  # what the last re-peak left below the reference before it
    steady_db: float = nan  # the level of the last steady minutes while there is no reference

    def peak_start(self, unix_s: float) -> None:
        """The crew starts moving the dish."""
        self.peak_start_unix_s = unix_s
        self.peak_done_unix_s = nan

    def peak_done(self, unix_s: float) -> None:
        """The crew says that the dish is peaked; the level of the next two minutes will be the reference."""
        self.peak_start_unix_s = nan
        self.peak_done_unix_s = unix_s
        self.collected_db = []

    def peaking(self, unix_s: float) -> bool:
        """Whether the dish is being moved, or has just stopped."""
        if not isnan(self.peak_start_unix_s):
            return unix_s - self.peak_start_unix_s < PEAKING_LONGEST_S
        return self.peaked(unix_s)

    def peaked(self, unix_s: float) -> bool:
        """Whether a peaking is done and its level is being taken; without a level that has an end, too."""
        return not isnan(self.peak_done_unix_s) and unix_s - self.peak_done_unix_s < PEAKING_LONGEST_S

    def accept(self, unix_s: float, level_db: float) -> None:
        """The crew takes this level for the reference; one that is not known changes nothing."""
        if not isnan(level_db):
            self._accept(unix_s, level_db, "accepted")

    def collect(
        self, unix_s: float, cell_db: float, interval_s: float, sky_clear: bool, settle_s: float
    ) -> None:
        """Feed one cell mean after a peaking; accepts the reference once it has settled, as after `settle_s`.

        What a person reads then has settled already.
        """
        if isnan(self.peak_done_unix_s) or unix_s < self.peak_done_unix_s + settle_s:
            return
        if not isnan(cell_db):
            self.collected_db.append(cell_db)
        wait_s = PEAK_AVERAGE_S if isnan(interval_s) else max(PEAK_AVERAGE_S, PEAK_READINGS * interval_s)
        if unix_s < self.peak_done_unix_s + settle_s + wait_s or not self.collected_db:
            return
        found_db = median(self.collected_db)
        self.peak_done_unix_s = nan
        self.shortfall_db = 0.0 if isnan(self.level_db) else self.level_db - found_db
        # In a fade the old reference is the better guess of a clear sky.
        if isnan(self.level_db) or (sky_clear and self.shortfall_db <= PART_RECOVERED_DB):
            self._accept(unix_s, found_db, "peaking")

    def _accept(self, unix_s: float, level_db: float, origin: str) -> None:
        self.level_db = level_db
        self.origin = origin
        self.accepted_unix_s = unix_s

    def minute(self, unix_s: float, minutes_db: list[float], sky_clear: bool, planned_db: float) -> None:
        """Feed the latest minute means (oldest first) while no peaking is under way.

        Without a reference a steady level becomes it, unless the plan says otherwise (`planned_db`; NaN where
        the figure cannot be compared with it).
        """
        if minutes_db and minutes_db[-1] > self.level_db - DRIFT_WITHIN_DB:
            self.shortfall_db = 0.0  # it was no fault of the peaking
        if isnan(self.level_db):
            self._first(unix_s, minutes_db, planned_db)
        elif len(minutes_db) >= FIRST_MINUTES and min(minutes_db) >= self.level_db + HIGHER_DB:
            self.level_db = median(minutes_db)
        elif minutes_db and sky_clear and abs(minutes_db[-1] - self.level_db) < DRIFT_WITHIN_DB:
            gap_db = minutes_db[-1] - self.level_db
            self.level_db += max(-DRIFT_DB_PER_MINUTE, min(DRIFT_DB_PER_MINUTE, gap_db))

    def _first(self, unix_s: float, minutes_db: list[float], planned_db: float) -> None:
        steady = len(minutes_db) >= FIRST_MINUTES and max(minutes_db) - min(minutes_db) <= FIRST_SPREAD_DB
        self.steady_db = median(minutes_db) if steady else nan
        if steady and not abs(self.steady_db - planned_db) > PLAN_AGREES_DB:
            self._accept(unix_s, self.steady_db, "steady")
