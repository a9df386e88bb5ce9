"""One excursion of the unexplained loss: how it began, whether it stays flat, slides or comes and goes.

A knock is abrupt and then flat; a slide goes one way for long; rain takes minutes to come and fluctuates
(Maseng and Bakken, IEEE Trans. Commun. 29(5), 1981: the logarithm of attenuation is a first-order process
with a time constant near an hour, so that it changes by a third within five minutes).
"""

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field
from math import isnan, nan

from agent.watch.carrier import VERY_COARSE_DB, Carrier
from agent.watch.onset import STUDIED_S, Onset
from agent.watch.series import GRID_S, Cells, forget, median

START_DB = 0.5
END_DB = 0.3
REPEATS_WITHIN_S = 3600.0
SLOW_START_S = 45.0
JUMPS_APART_S = 60.0
MINUTE_AGO_S = (50.0, 90.0)
CELLS_AGO = (9, 5)
DEEP_JUMP_DB = 2.5
STEPS_OF_A_JUMP = 1.5
WENT_DB = 0.7
WENT_S = (60.0, 7200.0)
WENT_WITHIN_S = 14_400.0
WENT_KEPT = 20
ALIKE = 2.5
SOON_S = 1200.0  # within this, showers differ in length without being of another kind
STANDING_DB = 0.12
JUMP_DB = 0.8  # a further abrupt loss on top of an older one is studied as a new onset
BAND_LEAST_DB = 0.3
BAND_NOISES = 4.0
BAND_STEPS = 1.1
TURNS_WITHIN_S = 1500.0
ANCHORED_S = 120.0  # the first level after a jump still carries what was before it


@dataclass(slots=True)
class Obstacle:
    """A deep jump on top of a loss, which may go as it came: then the loss is what it was before."""

    since_unix_s: float
    under: Onset
    under_db: float
    slow_start: bool


@dataclass(frozen=True, slots=True)
class Gone:
    """A loss that went without anybody mending it."""

    ended_unix_s: float
    depth_db: float
    lasted_s: float


@dataclass(slots=True)
class Excursion:
    """`start_unix_s` is NaN while there is no loss worth explaining."""

    history: Cells = field(default_factory=lambda: Cells(keep=72))
    start_unix_s: float = nan
    onset: Onset = field(default_factory=Onset)
    obstacle: Obstacle | None = None
    slow_start: bool = False  # a first part that took as long as a shower, before any later jump
    quiet_unix_s: float = nan  # last time the loss was small
    anchor_db: float = nan
    flat_since_unix_s: float = nan
    worse_unix_s: list[float] = field(default_factory=list)
    better_unix_s: list[float] = field(default_factory=list)
    starts_unix_s: list[float] = field(default_factory=list)
    went: list[Gone] = field(default_factory=list)
    worst_db: float = 0.0
    noise_before_db: float = nan
    deep_db: float = DEEP_JUMP_DB

    def step(self, unix_s: float, cell_db: float, loss_db: float, carrier: Carrier) -> None:
        """Feed the cell's loss and the robust level of the loss (dB, NaN: not known) at `unix_s`."""
        self.deep_db = max(DEEP_JUMP_DB, STEPS_OF_A_JUMP * carrier.resolution_db)
        if not isnan(cell_db):
            self.history.append(unix_s, cell_db)
        if isnan(loss_db):
            return
        self._follow_flatness(unix_s, loss_db, carrier)
        if loss_db < END_DB:
            self._end(unix_s)
            self.noise_before_db = carrier.noise_db
        elif isnan(self.start_unix_s):
            if loss_db >= START_DB:
                self._begin(unix_s)
        elif self._jumped(unix_s, loss_db):
            self._jump(unix_s, loss_db)
        elif self.obstacle is not None:
            self._follow_obstacle(unix_s, loss_db, self.obstacle)
        if not isnan(self.start_unix_s):
            self.worst_db = max(self.worst_db, loss_db)
            self.onset.study(unix_s, loss_db, self.history, carrier.resolution_db)

    def look_away(self) -> None:
        """The loss cannot be told from another cause now: what it did meanwhile must not count."""
        self.history = Cells(keep=self.history.keep)

    def _before_db(self) -> float:
        """What had been lost for minutes already (clouds, drift); 0 when the loss was on its way (dB)."""
        near, far = self.history.values[-8:-3], self.history.values[-40:-25]
        if not far or abs(median(near) - median(far)) > STANDING_DB:
            return 0.0
        return max(-START_DB, min(0.8 * START_DB, median(near)))

    def _begin(self, unix_s: float) -> None:
        self.start_unix_s = unix_s
        forget(self.starts_unix_s, unix_s - REPEATS_WITHIN_S)
        self.starts_unix_s.append(unix_s)
        self.onset = Onset(unix_s, self._before_db())

    def _jump(self, unix_s: float, loss_db: float) -> None:
        under_db = self._minute_ago_db(unix_s)
        if loss_db - under_db >= self.deep_db and self.obstacle is None:
            self.obstacle = Obstacle(unix_s, self.onset, under_db, self.slow_start)
        if self.onset.took_s >= max(SLOW_START_S, 2.5 * self._spacing_s()):
            self.slow_start = True
        self.onset = Onset(unix_s, self._cells_ago_db())

    def _follow_obstacle(self, unix_s: float, loss_db: float, obstacle: Obstacle) -> None:
        """What was abruptly there and is as abruptly gone says nothing of the loss beneath it."""
        if unix_s - obstacle.since_unix_s > STUDIED_S:
            self.obstacle = None
        elif (
            self._minute_ago_db(unix_s) >= loss_db + self.deep_db and loss_db <= obstacle.under_db + START_DB
        ):
            self.onset, self.slow_start = obstacle.under, obstacle.slow_start
            for turns in (self.worse_unix_s, self.better_unix_s):
                turns[:] = [turn for turn in turns if turn < obstacle.since_unix_s]
            self.obstacle = None

    def _cells_ago_db(self) -> float:
        return median(self.history.values[-CELLS_AGO[0] : -CELLS_AGO[1]])

    def _minute_ago_db(self, unix_s: float) -> float:
        """The loss about a minute ago, or at the reading before where readings are rarer; NaN: unknown."""
        times = self.history.unix_s
        end = bisect_right(times, unix_s - MINUTE_AGO_S[0])
        start = min(bisect_left(times, unix_s - MINUTE_AGO_S[1]), end - 1)
        return median(self.history.values[max(0, start) : end])

    def _spacing_s(self) -> float:
        times = self.history.unix_s
        return times[-1] - times[-2] if len(times) > 1 else 0.0

    def _end(self, unix_s: float) -> None:
        lasted_s = unix_s - self.start_unix_s
        if self.worst_db >= WENT_DB and WENT_S[0] <= lasted_s <= WENT_S[1]:
            self.went.append(Gone(unix_s, self.worst_db, lasted_s))
            del self.went[:-WENT_KEPT]
        self.worst_db = 0.0
        self.quiet_unix_s = unix_s
        self.start_unix_s = nan
        self.onset = Onset()
        self.obstacle = None
        self.slow_start = False

    def _jumped(self, unix_s: float, loss_db: float) -> bool:
        since_s = unix_s - self.onset.from_unix_s
        if since_s < JUMPS_APART_S or len(self.history.values) < CELLS_AGO[0]:
            return False
        least_db = JUMP_DB if since_s >= STUDIED_S else self.deep_db
        return loss_db - self._cells_ago_db() >= least_db

    def _follow_flatness(self, unix_s: float, loss_db: float, carrier: Carrier) -> None:
        # A display may stand on the edge of two steps; of a very coarse one each step counts.
        step_db = 0.0 if carrier.resolution_db >= VERY_COARSE_DB else BAND_STEPS * carrier.resolution_db
        band_db = max(BAND_LEAST_DB, BAND_NOISES * carrier.noise_db, 0.12 * loss_db, step_db)
        if isnan(self.anchor_db):
            self.anchor_db = loss_db
            self.flat_since_unix_s = unix_s
        elif abs(loss_db - self.anchor_db) > band_db:
            (self.worse_unix_s if loss_db > self.anchor_db else self.better_unix_s).append(unix_s)
            self.anchor_db = loss_db
            self.flat_since_unix_s = unix_s
        elif unix_s - self.flat_since_unix_s <= ANCHORED_S:
            cells = 1.0 + (unix_s - self.flat_since_unix_s) / GRID_S
            self.anchor_db += (loss_db - self.anchor_db) / cells
        for turns in (self.worse_unix_s, self.better_unix_s):
            forget(turns, unix_s - TURNS_WITHIN_S)

    def age_s(self, unix_s: float) -> float:
        """How long the excursion lasts (s), 0 when there is none."""
        return 0.0 if isnan(self.start_unix_s) else unix_s - self.start_unix_s

    def jump_age_s(self, unix_s: float) -> float:
        """How long ago the loss, or the last jump on top of it, set in (s); 0 when there is none."""
        return 0.0 if isnan(self.start_unix_s) else unix_s - self.onset.from_unix_s

    def alone(self) -> bool:
        """Whether nothing like it began within the hour before."""
        return len(self.starts_unix_s) <= 1

    def went_like(self, unix_s: float, loss_db: float) -> int:
        """How many losses of about this depth (dB) went by themselves within the last hours.

        Those that were over much sooner than this one are not like it.
        """
        return sum(
            one.ended_unix_s >= unix_s - WENT_WITHIN_S
            and loss_db <= ALIKE * one.depth_db <= ALIKE**2 * loss_db
            and self.age_s(unix_s) <= max(ALIKE * one.lasted_s, SOON_S)
            for one in self.went
        )

    def flat_s(self, unix_s: float) -> float:
        """How long the loss has stayed within its noise (s)."""
        if isnan(self.flat_since_unix_s) or not self.history.unix_s:
            return 0.0
        # Between rare readings nobody knows.
        return max(0.0, min(unix_s, self.history.unix_s[-1]) - self.flat_since_unix_s)

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
