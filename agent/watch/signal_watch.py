"""Decides what of the downlink is lost against its reference, what explains it, and why the rest is."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import hypot, inf, isnan, nan
from typing import NamedTuple

from agent.link_plan import LinkPlan, SunPass
from agent.records import Note, Signal
from agent.sun_pass import sun_pass_loss_db
from agent.watch.carrier import COARSE_DB, quality_db
from agent.watch.causes.channels import LEVEL_DRIFT_DB, UPLINK_DRIFT_DB, Measured
from agent.watch.causes.loss import Cell, LossWatch
from agent.watch.causes.names import LossCause
from agent.watch.causes.path import path_of
from agent.watch.causes.verdict import Verdict
from agent.watch.followed import Followed
from agent.watch.rain import VIOLENT_RAIN_MM_H, rain_loss_db
from agent.watch.uplink import mispoint_ratio
from agent.watch.uplink_watch import UplinkView, UplinkWatch
from agent.watch.weather_watch import WeatherWatch

SUN_PASS_GUARD_S = 180.0  # error of a predicted pass by beam and pointing uncertainty
SUN_EXPLAINS_DB = 0.2  # a smaller loss is within the noise of a reference (judgement)
RARE_S = 100.0  # the median over rarer readings is minutes late; the newest one knows better
STEP_SPREAD = 0.41  # standard deviation of what two values in steps hide of their difference, 1/sqrt(6)
RAIN_LIKELY = 0.5  # more likely than all else together
MISSED_READINGS = 1.5  # a figure that comes beside another and is later than this has not been told
SURELY = 0.35  # share of the probability that a coarse figure may hide
SIGNAL_DOWN_DB = 0.8  # a loss from here on can cost a MODCOD class and so explains a low rate


class SignalView(NamedTuple):
    """The signal at one decision; NaN where not known."""

    level_db: float
    deficit_db: float
    unexplained_db: float
    certain_db: float  # the least of it that a coarse figure leaves
    sun_loss_db: float
    rain_loss_db: float
    uplink_db: float
    uplink_loss_db: float
    transmit_loss_db: float
    next_pass: SunPass | None
    sun_pass_now: bool
    rain_hides: bool  # seen, and no less than what is lost in its power at this frequency
    verdict: Verdict | None  # None while nothing is missing

    @property
    def confidence(self) -> Mapping[LossCause, float]:
        """How likely each cause is, 0 to 1; empty while nothing is missing."""
        return {} if self.verdict is None else self.verdict.likely


@dataclass(slots=True)
class SignalWatch:
    """Downlink, uplink and received level of the modem, and the loss that is under way."""

    down: Followed = field(default_factory=Followed)
    up: UplinkWatch = field(default_factory=UplinkWatch)
    received: Followed = field(default_factory=Followed)
    loss: LossWatch = field(default_factory=LossWatch)

    def add(self, signal: Signal) -> None:
        """One signal reading."""
        value_db, measure = quality_db(signal)
        if not isnan(value_db):
            self.down.carrier.add(signal.unix_s, value_db, measure, signal.method is not None)
        if signal.rx_level_dbm is not None:
            self.received.carrier.add(signal.unix_s, signal.rx_level_dbm, "level")
        self.up.add(signal)

    def note(self, note: Note) -> None:
        """Peaking and moving notes."""
        self.down.note(note)
        self.up.note(note)
        self.received.note(note)
        if note.kind in ("peak-done", "accept-level"):
            self.loss.peaked()

    def _planned_db(self, plan: LinkPlan) -> float:
        """What the plan says of the figure that the modem gives; NaN where that is no Es/N0."""
        return plan.downlink.esno_clear_db if self.down.carrier.measure == "Es/N0" else nan

    def below_plan_db(self, unix_s: float, plan: LinkPlan) -> float:
        """How far the reference, or the steady level that waits to be one, is below the plan (dB).

        NaN where that is not known, or the crew has accepted the level as it is.
        """
        reference = self.down.reference
        if reference.origin == "accepted" or reference.peaking(unix_s):
            return nan
        level_db = reference.steady_db if isnan(reference.level_db) else reference.level_db
        return self._planned_db(plan) - level_db

    def _cell(self, unix_s: float, cell_loss_db: float, deficit_db: float, uplink: UplinkView) -> Cell:
        carrier, received = self.down.carrier, self.received
        step_db = carrier.resolution_db
        return Cell(
            unix_s=unix_s,
            loss_db=cell_loss_db,
            level_loss_db=deficit_db,
            level_noise_db=hypot(carrier.noise_db, STEP_SPREAD * step_db),
            half_step_db=(1.0 if step_db >= COARSE_DB else 0.5) * step_db,
            locked=carrier.locked,
            uplink=Measured(self._as_new(self.up.path, uplink.path_loss_db), self.up.path.carrier.noise_db),
            uplink_power_told=not isnan(uplink.transmit_loss_db),
            received=Measured(
                received.loss_db(unix_s),
                hypot(received.carrier.noise_db, STEP_SPREAD * received.carrier.resolution_db),
            ),
            left_by_peaking_db=self.down.reference.shortfall_db,
        )

    def _as_new(self, followed: Followed, loss_db: float) -> float:
        """The loss of what the modem tells beside the downlink; NaN where it no longer does."""
        told, down = followed.carrier.interval, self.down.carrier.interval
        late_s = MISSED_READINGS * told.typical_s
        return nan if down.last_unix_s - told.last_unix_s > late_s else loss_db

    def _certain_db(self, unix_s: float, explained_db: float, unexplained_db: float, plan: LinkPlan) -> float:
        """The least that is missing: a coarse figure may sit on the edge of two steps, a rare one be late."""
        carrier = self.down.carrier
        least_db = unexplained_db
        if carrier.resolution_db >= COARSE_DB and self.loss.course is not None:
            shown_db = self.loss.course.least_db(SURELY) - explained_db
            finer = (self._by_uplink_db(unix_s, plan), self._by_level_db(unix_s))
            least_db = min(least_db, max([shown_db, *(one for one in finer if not isnan(one))]))
        newest_db = self.down.reference.level_db - carrier.latest_db() - explained_db
        return min(least_db, newest_db if carrier.interval.typical_s >= RARE_S else inf)

    def _by_uplink_db(self, unix_s: float, plan: LinkPlan) -> float:
        """What a turned dish takes from the downlink if it took from a finer uplink what that lost (dB)."""
        path = self.up.path
        if path.carrier.resolution_db >= COARSE_DB:
            return nan
        lost_db = path.loss_db(unix_s) - 2.0 * path.carrier.noise_db - UPLINK_DRIFT_DB
        return lost_db / mispoint_ratio(plan)

    def _by_level_db(self, unix_s: float) -> float:
        """The least that is missing if a finer received level fell for the same reason (dB)."""
        if self.received.carrier.resolution_db >= COARSE_DB:
            return nan
        return self.received.loss_db(unix_s) - 2.0 * self.received.carrier.noise_db - LEVEL_DRIFT_DB

    def close(self, unix_s: float, weather: WeatherWatch, plan: LinkPlan, frequency_ghz: float) -> SignalView:
        """Close the grid cell that ends at `unix_s` and say what is lost and why."""
        sun_loss_db = sun_pass_loss_db(plan.sun_passes, unix_s)
        rain_seen = weather.rain_seen(unix_s)
        clear = not rain_seen and sun_loss_db < SUN_EXPLAINS_DB
        cell_db = self.down.close(unix_s, clear, self._planned_db(plan))
        uplink = self.up.close(unix_s, clear)
        self.received.close(unix_s, clear)
        reference_db = self.down.reference.level_db
        level_db = self.down.carrier.level_db(unix_s)
        deficit_db = reference_db - level_db - sun_loss_db
        rain_db = min(rain_loss_db(weather.rain_now_mm_h(unix_s), plan), max(0.0, deficit_db))
        cell = self._cell(unix_s, reference_db - cell_db - sun_loss_db, deficit_db, uplink)
        path = path_of(plan, frequency_ghz)
        if sun_loss_db >= SUN_EXPLAINS_DB:
            self.loss.look_away()
        elif not self.down.reference.peaking(unix_s):
            self.loss.step(cell, path)
        verdict = self.loss.verdict(cell, weather, path)
        upcoming = next((one for one in plan.sun_passes if one.end_unix_s + SUN_PASS_GUARD_S > unix_s), None)
        return SignalView(
            level_db=level_db,
            deficit_db=deficit_db,
            unexplained_db=deficit_db - rain_db,
            certain_db=self._certain_db(unix_s, sun_loss_db + rain_db, deficit_db - rain_db, plan),
            sun_loss_db=sun_loss_db,
            rain_loss_db=rain_db,
            uplink_db=uplink.level_db,
            uplink_loss_db=uplink.loss_db,
            transmit_loss_db=uplink.transmit_loss_db,
            next_pass=upcoming,
            sun_pass_now=upcoming is not None and unix_s >= upcoming.start_unix_s - SUN_PASS_GUARD_S,
            rain_hides=(
                (weather.rain_measured(unix_s) or _note_agrees(weather.rain_noted(unix_s), verdict))
                # Without lock there is no level that could be too low for rain.
                and (not self.down.carrier.locked or not deficit_db > rain_loss_db(VIOLENT_RAIN_MM_H, plan))
            ),
            verdict=verdict,
        )


def _note_agrees(noted: float, verdict: Verdict | None) -> bool:
    """Whether a note of rain is borne out by what the loss looks like: then the rain is seen."""
    return noted > 0.0 and verdict is not None and verdict.likely["rain"] >= RAIN_LIKELY


def pass_in_s(upcoming: SunPass | None, unix_s: float) -> float:
    """Seconds until the pass starts, 0 while it lasts, inf when none is known."""
    if upcoming is None or unix_s > upcoming.end_unix_s:
        return inf
    return max(0.0, upcoming.start_unix_s - unix_s)
