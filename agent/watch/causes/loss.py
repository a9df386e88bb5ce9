"""Decides, cell by cell, which course a loss of the downlink takes and so what may have caused it."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from math import hypot, isnan, nan
from typing import NamedTuple

from agent.watch.carrier import COARSE_DB
from agent.watch.causes.channels import Measured, in_frost, level_likelihoods, uplink_likelihoods
from agent.watch.causes.course import Course
from agent.watch.causes.path import Path
from agent.watch.causes.sky import Factor, Onset, sky_factors
from agent.watch.causes.verdict import Verdict, at_once, verdict
from agent.watch.reference import PART_RECOVERED_DB
from agent.watch.series import GRID_S
from agent.watch.weather_watch import WeatherWatch
from agent.wording import Said

WAKE_DB, WAKE_NOISES, WAKE_HALF_STEPS = 0.35, 3.0, 0.9  # a loss worth following
REST_CLEAR, REST_CELLS = 0.97, 30  # for five minutes nothing has been missing, as good as surely (judgement)
BEFORE_CELLS = 90  # are kept from before a loss, so that its beginning can be followed
ONSET_DB, END_DB = 0.5, 0.3  # the least that any rule asks for, and less than any clears at
SUDDEN_S, LATEST = 40.0, 2  # somebody walking through is gone by then; readings, where they are rare
# Of a display in tenths its step, half of it, and what the reference errs by (judgement).
NOISE_START_DB, NOISE_LEAST_DB, NOISE_OWN_DB = 0.1, 0.05, 0.04
NOISE_STEP_DB, NOISE_KEEP = 0.6, 0.97  # clipped, so that a step or a fade is not taken for noise
CORRELATED = 1.25  # cells next to each other share some of their noise
HALF_STEP_DB = 0.05  # of a display in tenths
LOST_DB = 8.0  # at least is missing without lock
RAINED_S = 3600.0
DRY_RAINED = 0.05
UNNOTICED_DB, UNNOTICED_TIMES = 7.0, 0.1  # neither dish nor satellite often takes so much (judgement)
PART_RECOVERED_TIMES = 3.0  # who peaks and wins a part only has not found the top (judgement)
WET_REFLECTOR_TIMES = 6.0  # after rain the reflector is wet for up to half an hour (judgement)
QUIET_DB, QUIET_S = 0.25, 600.0  # what is lost elsewhere is followed while so little is missing
SMALLEST_DB = 0.3  # taken as lost where uplink and level are compared


class Cell(NamedTuple):
    """What one cell of the grid says of the link; NaN where not known, losses against references."""

    unix_s: float
    loss_db: float  # of this cell alone
    level_loss_db: float  # of the last minute, robust
    level_noise_db: float
    half_step_db: float  # of the display; a coarse one hides as much again in the reference
    locked: bool
    uplink: Measured
    uplink_power_told: bool
    received: Measured  # received level
    left_by_peaking_db: float = 0.0  # what the last re-peak left below the reference before it


class Seen(NamedTuple):
    """A loss as the course takes it (dB)."""

    unix_s: float
    loss_db: float
    noise_db: float
    half_step_db: float


@dataclass(slots=True)
class LossWatch:
    """Follows the loss from just before it set in; asleep (`course` None) while nothing is missing."""

    course: Course | None = None
    before: list[Seen] = field(default_factory=list)
    noise_db: float = NOISE_START_DB
    last_loss_db: float = nan
    sudden_db: float = nan  # the least of the last losses, less what a coarse display hides
    latest: list[tuple[float, float]] = field(default_factory=list)  # when and how much (dB), oldest first
    seen_unix_s: float = nan
    calm_cells: int = 0
    stepped_db: float = 0.0  # how far a coarse display has gone down since the course woke
    rained: float = 0.0  # how likely it has rained within the last hour, 0 to 1
    onset_unix_s: float = nan
    small_unix_s: float = nan  # when so little was missing last that no loss had set in
    uplink_before_db: float = nan  # lost already while the downlink lacked nothing
    received_before_db: float = nan

    def peaked(self) -> None:
        """The dish has been peaked: what was lost before is no part of what comes."""
        self.course, self.before, self.onset_unix_s = None, [], nan
        self.uplink_before_db = self.received_before_db = nan

    def look_away(self) -> None:
        """Something known takes signal now: what the loss does meanwhile must not count."""
        self.before, self.latest = [], []
        self.last_loss_db = self.sudden_db = nan

    def step(self, cell: Cell, path: Path) -> None:
        """Follow the loss through one cell."""
        if isnan(cell.loss_db):
            return
        self._follow_onset(cell)
        if self.course is None:
            self._follow_noise(cell.loss_db)
        if cell.level_loss_db < QUIET_DB:
            self.uplink_before_db = _followed(self.uplink_before_db, cell.uplink.loss_db)
            self.received_before_db = _followed(self.received_before_db, cell.received.loss_db)
        edge_db = 0.5 * cell.half_step_db if cell.half_step_db >= COARSE_DB else 0.0
        self._follow_sudden(cell, edge_db)
        self.last_loss_db = cell.loss_db
        seen = Seen(
            cell.unix_s,
            cell.loss_db,
            hypot(CORRELATED * max(self.noise_db, NOISE_LEAST_DB), NOISE_OWN_DB),
            max(cell.half_step_db, HALF_STEP_DB),
        )
        if self.course is None:
            self._wake(seen, cell.locked, path)
        if self.course is not None:
            self._see(self.course, seen, cell.locked, path)
            self._may_rest(seen)
        else:
            self.rained *= 1.0 - GRID_S / RAINED_S

    def age_s(self, unix_s: float) -> float:
        """Since the loss set in (s); 0 while nothing is missing."""
        return 0.0 if isnan(self.onset_unix_s) else unix_s - self.onset_unix_s

    def _follow_sudden(self, cell: Cell, edge_db: float) -> None:
        self.latest.append((cell.unix_s, cell.loss_db))
        while len(self.latest) > LATEST and self.latest[0][0] <= cell.unix_s - SUDDEN_S:
            del self.latest[0]
        few = len(self.latest) < LATEST
        self.sudden_db = nan if few else min(loss_db for _, loss_db in self.latest) - edge_db

    def _follow_onset(self, cell: Cell) -> None:
        if max(cell.loss_db, cell.level_loss_db) < END_DB:
            self.onset_unix_s = nan
        if isnan(self.onset_unix_s) and cell.loss_db >= ONSET_DB:
            # Between two readings nobody knows; it was not later than after the last small one.
            self.onset_unix_s = cell.unix_s if isnan(self.small_unix_s) else self.small_unix_s
        if cell.loss_db < ONSET_DB:
            self.small_unix_s = cell.unix_s

    def _follow_noise(self, loss_db: float) -> None:
        step_db = abs(loss_db - self.last_loss_db)
        if not isnan(step_db):
            variance = 0.5 * min(step_db, NOISE_STEP_DB) ** 2
            self.noise_db = (NOISE_KEEP * self.noise_db**2 + (1.0 - NOISE_KEEP) * variance) ** 0.5

    @staticmethod
    def _worth_db(seen: Seen) -> float:
        return max(WAKE_DB, WAKE_NOISES * seen.noise_db, WAKE_HALF_STEPS * seen.half_step_db)

    def _wake(self, seen: Seen, locked: bool, path: Path) -> None:
        if locked and seen.loss_db <= self._worth_db(seen):
            self.before.append(seen)
            del self.before[:-BEFORE_CELLS]
            return
        self.course, self.calm_cells, self.stepped_db = Course(), 0, 0.0
        earlier = self.before
        self.before = []
        self.seen_unix_s = earlier[0].unix_s - GRID_S if earlier else seen.unix_s - GRID_S
        for one in earlier:
            self._see(self.course, one, True, path)

    def _see(self, course: Course, seen: Seen, locked: bool, path: Path) -> None:
        passed_s = seen.unix_s - self.seen_unix_s
        course.pass_time(passed_s, path.rain_log_median, path.cloud_db, self.rained)
        if locked:
            course.see(seen.loss_db, seen.noise_db, seen.half_step_db)
            if seen.half_step_db >= COARSE_DB and seen.loss_db > self.stepped_db + 0.5 * seen.half_step_db:
                self.stepped_db = seen.loss_db
                course.see_step(seen.loss_db, seen.half_step_db)
        else:
            course.see_lost(LOST_DB)
        self.seen_unix_s = seen.unix_s
        self.rained += (course.rain() - self.rained) * min(1.0, passed_s / RAINED_S)

    def _may_rest(self, seen: Seen) -> None:
        assert self.course is not None
        calm = self.course.clear() * (
            1.0 - self.course.covered()
        ) > REST_CLEAR and seen.loss_db <= self._worth_db(seen)
        self.calm_cells = self.calm_cells + 1 if calm else 0
        if self.calm_cells >= REST_CELLS:
            self.course, self.before = None, [seen]

    def verdict(self, cell: Cell, weather: WeatherWatch, path: Path) -> Verdict | None:
        """The causes as things stand; None while nothing is missing."""
        if self.course is None or isnan(cell.level_loss_db):
            return None
        onset_unix_s = cell.unix_s if isnan(self.onset_unix_s) else self.onset_unix_s
        lost_db = max(cell.level_loss_db, SMALLEST_DB)
        shares = self.course.shares()
        onset = Onset(onset_unix_s, at_once(shares, "mispoint"), at_once(shares, "reflector"))
        factors = list(sky_factors(cell.unix_s, lost_db, onset, weather, path))
        if lost_db >= UNNOTICED_DB:
            factors.append(
                Factor(
                    Said("deep"),
                    {
                        "mispoint": UNNOTICED_TIMES,
                        "satellite": UNNOTICED_TIMES,
                        "blockage": 1.0 / UNNOTICED_TIMES,
                    },
                )
            )
        if cell.left_by_peaking_db > PART_RECOVERED_DB:
            factors.append(Factor(Said("part-recovered"), {"mispoint": PART_RECOVERED_TIMES}))
        if self.rained > DRY_RAINED:
            factors.append(
                Factor(Said("wet-reflector"), {"reflector": 1.0 + WET_REFLECTOR_TIMES * self.rained})
            )
        if cell.locked:
            up = _since(cell.uplink, self.uplink_before_db)
            received = _since(cell.received, self.received_before_db)
            down = Measured(lost_db, cell.level_noise_db)
            if cell.half_step_db >= COARSE_DB:
                mean_db, noise_db = self.course.loss()
                down = Measured(max(mean_db, SMALLEST_DB), noise_db)
            frost = weather.frost(cell.unix_s)
            factors.extend(_link_factors(cell._replace(uplink=up, received=received), down, frost, path))
        return verdict(shares, self.course.covered(), factors)


def _followed(before_db: float, loss_db: float) -> float:
    """A loss averaged over some minutes; what is not known changes nothing."""
    if isnan(loss_db):
        return before_db
    return loss_db if isnan(before_db) else before_db + (loss_db - before_db) * GRID_S / QUIET_S


def _since(measured: Measured, before_db: float) -> Measured:
    """What was lost since the downlink's loss set in: heat may have taken the rest before."""
    return measured if isnan(before_db) else measured._replace(loss_db=measured.loss_db - before_db)


def _link_factors(cell: Cell, down: Measured, frost: bool, path: Path) -> Iterator[Factor]:
    if not isnan(cell.uplink.loss_db):
        if found := uplink_likelihoods(cell.uplink, down, cell.uplink_power_told, path.plan):
            figures = {"uplink_db": cell.uplink.loss_db, "mispoint_db": found[1]}
            yield Factor(Said("uplink-lost", figures), in_frost(found[0]) if frost else found[0])
    if not isnan(cell.received.loss_db):
        if found := level_likelihoods(cell.received, down, path.plan):
            figures = {"level_db": cell.received.loss_db, "mispoint_db": found[1]}
            yield Factor(Said("level-fell", figures), in_frost(found[0]) if frost else found[0])
