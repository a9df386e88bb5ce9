"""One excursion of the unexplained loss: how it began, whether it stays flat, slides or comes and goes.

A knock is abrupt and then flat; a slide goes one way for long; rain takes minutes to come and fluctuates
(Maseng and Bakken, IEEE Trans. Commun. 29(5), 1981: the logarithm of attenuation is a first-order process
with a time constant near an hour, so that it changes by a third within five minutes).
"""

from dataclasses import dataclass, field
from math import inf, isnan, nan

from agent.watch.series import Cells, median

START_DB = 0.5
END_DB = 0.3
ONSET_STUDIED_S = 480.0
JUMP_DB = 0.8  # a further abrupt loss on top of an older one is studied as a new onset
BAND_LEAST_DB = 0.3
BAND_NOISES = 4.0
TURNS_WITHIN_S = 1500.0


@dataclass(slots=True)
class Excursion:
    """`start_unix_s` is NaN while there is no loss worth explaining."""

    history: Cells = field(default_factory=lambda: Cells(keep=72))
    start_unix_s: float = nan
    base_db: float = 0.0
    studied_from_unix_s: float = nan
    onset_s: float = nan
    quiet_unix_s: float = nan  # last time the loss was small
    anchor_db: float = nan
    flat_since_unix_s: float = nan
    worse_unix_s: list[float] = field(default_factory=list)
    better_unix_s: list[float] = field(default_factory=list)

    def step(self, unix_s: float, cell_db: float, loss_db: float, noise_db: float) -> None:
        """Feed the cell's loss and the robust level of the loss (dB, NaN: not known) at `unix_s`."""
        if not isnan(cell_db):
            self.history.append(unix_s, cell_db)
        if isnan(loss_db):
            return
        self._follow_flatness(unix_s, loss_db, noise_db)
        if loss_db < END_DB:
            self._end(unix_s)
        elif isnan(self.start_unix_s):
            if loss_db >= START_DB:
                self._begin(unix_s, 0.0)
        elif self._jumped(unix_s, loss_db):
            self._begin(unix_s, median(self.history.values[-9:-5]))
        if not isnan(self.start_unix_s) and unix_s - self.studied_from_unix_s <= ONSET_STUDIED_S:
            self.onset_s = self._onset(loss_db)

    def _begin(self, unix_s: float, base_db: float) -> None:
        if isnan(self.start_unix_s):
            self.start_unix_s = unix_s
        self.studied_from_unix_s = unix_s
        self.base_db = base_db

    def _end(self, unix_s: float) -> None:
        self.quiet_unix_s = unix_s
        self.start_unix_s = nan
        self.onset_s = nan
        self.base_db = 0.0

    def _jumped(self, unix_s: float, loss_db: float) -> bool:
        if unix_s - self.studied_from_unix_s < ONSET_STUDIED_S or len(self.history.values) < 9:
            return False
        return loss_db - median(self.history.values[-9:-5]) >= JUMP_DB

    def _follow_flatness(self, unix_s: float, loss_db: float, noise_db: float) -> None:
        band_db = max(BAND_LEAST_DB, BAND_NOISES * noise_db, 0.12 * loss_db)
        if isnan(self.anchor_db):
            self.anchor_db = loss_db
            self.flat_since_unix_s = unix_s
        elif abs(loss_db - self.anchor_db) > band_db:
            (self.worse_unix_s if loss_db > self.anchor_db else self.better_unix_s).append(unix_s)
            self.anchor_db = loss_db
            self.flat_since_unix_s = unix_s
        for turns in (self.worse_unix_s, self.better_unix_s):
            while turns and turns[0] < unix_s - TURNS_WITHIN_S:
                del turns[0]

    def _onset(self, loss_db: float) -> float:
        """Time from a fifth to four fifths of the present loss (s); inf when it began before the history."""
        rise_db = loss_db - self.base_db
        values, times = self.history.values, self.history.unix_s
        low, high = self.base_db + 0.2 * rise_db, self.base_db + 0.8 * rise_db
        small = next((i for i in range(len(values) - 1, -1, -1) if values[i] <= low), None)
        if small is None:
            return inf
        big = next((i for i in range(small + 1, len(values)) if values[i] >= high), None)
        return nan if big is None else times[big] - times[small]

    def age_s(self, unix_s: float) -> float:
        """How long the excursion lasts (s), 0 when there is none."""
        return 0.0 if isnan(self.start_unix_s) else unix_s - self.start_unix_s

    def flat_s(self, unix_s: float) -> float:
        """How long the loss has stayed within its noise (s)."""
        return 0.0 if isnan(self.flat_since_unix_s) else unix_s - self.flat_since_unix_s

    def slide_s(self, unix_s: float) -> float:
        """How long the loss has only grown or stood since it was small (s)."""
        if isnan(self.start_unix_s):
            return 0.0
        since = self.start_unix_s if isnan(self.quiet_unix_s) else self.quiet_unix_s
        return unix_s - max([since, *self.better_unix_s])

    def turns(self, unix_s: float) -> int:
        """How often the loss got clearly smaller within the last minutes although it did not end."""
        since = max(self.start_unix_s, unix_s - TURNS_WITHIN_S)
        return sum(turn >= since for turn in self.better_unix_s)

    def worsened(self, unix_s: float, within_s: float) -> int:
        """How often the loss got clearly greater within the last `within_s`."""
        return sum(turn >= unix_s - within_s for turn in self.worse_unix_s)
