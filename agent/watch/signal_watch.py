"""Decides what the signal lacks against its reference, what of it is explained, and by what.

The seam to the causes: `_facts` hands over what is known of the loss in each cell of the decision grid (NaN
where not known), and `weigh` gives back the probability of each cause and what spoke for and against it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from math import hypot, inf, isnan, nan
from typing import NamedTuple

from agent.link_plan import LinkPlan, SunPass, sun_pass_loss_db
from agent.records import Note, Signal
from agent.watch.carrier import COARSE_DB, VERY_COARSE_DB, Carrier, quality_db
from agent.watch.causes import Evidence, SignalCause, weigh
from agent.watch.cloud import cloud_loss_db
from agent.watch.excursion import START_DB, Excursion
from agent.watch.followed import Followed
from agent.watch.power_control import PowerControl
from agent.watch.rain import VIOLENT_RAIN_MM_H, rain_loss_db
from agent.watch.series import median
from agent.watch.signal_facts import DRIFT_DB, SignalFacts
from agent.watch.uplink import mispoint_loss_db, mispoint_ratio, uplink_loss
from agent.watch.uplink_watch import UplinkWatch
from agent.watch.weather_watch import WeatherWatch

SUN_PASS_GUARD_S = 180.0  # error of a predicted pass by beam and pointing uncertainty
SUN_EXPLAINS_DB = 0.2
SETTLED_S = 180.0  # the levels of both links are medians of a minute, and one may be read later
RARE_S = 100.0  # the median over rarer readings is minutes late; the newest one knows better
ROUGH_AFTER_S = 120.0
ROUGH_LEAST_S = 300.0
LEAST_NOISE_DB = 0.04
STEP_SPREAD = 0.41  # standard deviation of what two values in steps hide of their difference, 1/sqrt(6)
LEFT_STEP_S = 600.0
LEFT_STEP_READINGS = 5
RAIN_LIKELY = 0.5  # more likely than all else together
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
    may_be_rain: bool  # for all that gauge and frequency tell
    confidence: Mapping[SignalCause, float]
    evidence: tuple[Evidence, ...]


@dataclass(slots=True)
class SignalWatch:
    """Downlink and uplink of the modem, and the loss that is under way."""

    down: Followed = field(default_factory=Followed)
    up: UplinkWatch = field(default_factory=UplinkWatch)
    excursion: Excursion = field(default_factory=Excursion)
    power_control: PowerControl = field(default_factory=PowerControl)

    def add(self, signal: Signal) -> None:
        """One signal reading."""
        value_db, measure = quality_db(signal)
        if not isnan(value_db):
            self.down.carrier.add(signal.unix_s, value_db, measure)
        self.up.add(signal)

    def note(self, note: Note) -> None:
        """Peaking and moving notes."""
        self.down.note(note)
        self.up.note(note)
        if note.kind in ("peak-done", "accept-level"):
            self.excursion = Excursion()

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

    def _teller(self, unix_s: float) -> Carrier:
        """Whose course tells of a loss: the uplink's where it is fine and the downlink's far too coarse."""
        coarse = self.down.carrier.resolution_db >= VERY_COARSE_DB
        fine = self.up.path.carrier.resolution_db < COARSE_DB
        tells = coarse and fine and not isnan(self.up.path.loss_db(unix_s))
        return self.up.path.carrier if tells else self.down.carrier

    def _follow(
        self, unix_s: float, cells_db: tuple[float, float], deficit_db: float, rain_db: float, plan: LinkPlan
    ) -> None:
        """Let the excursion follow what the cells of downlink (as a loss) and uplink (as a level) say."""
        cell_loss_db, told_db = cells_db[0], deficit_db
        teller = self._teller(unix_s)
        if teller is self.up.path.carrier:
            squared = mispoint_ratio(plan)
            cell_loss_db = (self.up.path.reference.level_db - cells_db[1]) / squared
            told_db = self._told_db(unix_s, deficit_db, squared)
        self.excursion.step(unix_s, cell_loss_db - rain_db, told_db - rain_db, teller)

    def _told_db(self, unix_s: float, deficit_db: float, squared: float) -> float:
        """What a turned dish costs the downlink if it costs the uplink so much (dB).

        Little while the downlink shows nothing: the uplink alone may have lost by heat.
        """
        told_db = self.up.path.loss_db(unix_s) / squared
        step_db = self.down.carrier.resolution_db
        return min(told_db, deficit_db + step_db) if deficit_db >= 0.5 * step_db else min(told_db, 0.0)

    def _roughness(self, unix_s: float) -> float:
        """Change from minute to minute since the loss set in, against that before it; NaN: not known."""
        excursion, carrier = self.excursion, self._teller(unix_s)
        settled_s = excursion.jump_age_s(unix_s) - ROUGH_AFTER_S
        minutes = (
            carrier.minutes(unix_s, min(10, int(settled_s / 60.0))) if settled_s >= ROUGH_LEAST_S else []
        )
        if len(minutes) < ROUGH_LEAST_S / 60.0 or isnan(excursion.noise_before_db):
            return nan
        changes = [abs(after - before) for before, after in pairwise(minutes)]
        # The median change of independent normal errors is 0.95 of their standard deviation.
        return median(changes) / max(LEAST_NOISE_DB, 0.95 * excursion.noise_before_db)

    def _doubt_db(self, unix_s: float, plan: LinkPlan) -> float:
        """How much less may be lost than the figure shows: a coarse one may sit on the edge of two steps.

        One that left its step for the first time in hours and stays away was not on the edge, unless a finer
        figure of the uplink shows less than anything would cost it that took half a step from the downlink.
        """
        carrier = self.down.carrier
        if carrier.resolution_db < COARSE_DB:
            return 0.0
        long_s = max(LEFT_STEP_S, LEFT_STEP_READINGS * carrier.interval.typical_s)
        if self.excursion.alone() and self.excursion.flat_s(unix_s) >= long_s:
            lost_db = self.up.path.loss_db(unix_s) if self.up.path.carrier.resolution_db < COARSE_DB else nan
            if not lost_db < uplink_loss(plan, 0.5 * carrier.resolution_db).least_in_path_db:
                return 0.0
        return carrier.resolution_db * (1.0 if carrier.resolution_db >= VERY_COARSE_DB else 0.5)

    def _newest_loss_db(self, explained_db: float) -> float:
        """What the newest of rare readings says is lost (dB); inf where readings are dense."""
        carrier = self.down.carrier
        newest_db = self.down.reference.level_db - carrier.latest_db() - explained_db
        return newest_db if carrier.interval.typical_s >= RARE_S else inf

    def _by_uplink_db(self, unix_s: float, unexplained_db: float, plan: LinkPlan) -> float:
        """What a turned dish takes from the downlink when a finer uplink figure lost so much (dB, or NaN)."""
        if not self.up.path.carrier.resolution_db < self.down.carrier.resolution_db:
            return nan
        surely_db = self.up.path.loss_db(unix_s) - 2.0 * self.up.path.carrier.noise_db - DRIFT_DB
        mispoint_db = nan if isnan(surely_db) else mispoint_loss_db(plan, unexplained_db)
        if not mispoint_db > 0.0:
            return nan
        return unexplained_db * min(1.0, surely_db / mispoint_db)

    def close(self, unix_s: float, weather: WeatherWatch, plan: LinkPlan, frequency_ghz: float) -> SignalView:
        """Close the grid cell that ends at `unix_s` and say what is lost and why."""
        sun_loss_db = sun_pass_loss_db(plan.sun_passes, unix_s)
        rain_seen = weather.rain_seen(unix_s)
        clear = not rain_seen and sun_loss_db < SUN_EXPLAINS_DB
        cell_db = self.down.close(unix_s, clear, self._planned_db(plan))
        path_cell_db = self.up.close(unix_s, clear)
        reference_db = self.down.reference.level_db
        level_db = self.down.carrier.level_db(unix_s)
        deficit_db = reference_db - level_db - sun_loss_db
        rain_db = min(rain_loss_db(weather.rain_now_mm_h(unix_s), plan), max(0.0, deficit_db))
        unexplained_db = deficit_db - rain_db
        if sun_loss_db >= SUN_EXPLAINS_DB:
            self.excursion.look_away()
        elif not self.down.reference.peaking(unix_s):
            cells_db = (reference_db - cell_db - sun_loss_db, path_cell_db)
            self._follow(unix_s, cells_db, deficit_db, rain_db, plan)
        facts = self._facts(unix_s, (deficit_db, sun_loss_db), weather, plan, frequency_ghz)
        confidence, evidence = ({}, ()) if facts is None else weigh(facts)
        onset_unix_s = self.excursion.start_unix_s
        doubt_db = self._doubt_db(unix_s, plan)
        if doubt_db and (weather.knock_near(onset_unix_s) or weather.gust_near(onset_unix_s)):
            doubt_db = 0.0
        by_uplink_db = self._by_uplink_db(unix_s, unexplained_db, plan)
        certain_db = min(
            max(unexplained_db - doubt_db, -inf if isnan(by_uplink_db) else by_uplink_db),
            self._newest_loss_db(sun_loss_db + rain_db),
        )
        upcoming = next((one for one in plan.sun_passes if one.end_unix_s + SUN_PASS_GUARD_S > unix_s), None)
        return SignalView(
            level_db=level_db,
            deficit_db=deficit_db,
            unexplained_db=unexplained_db,
            certain_db=certain_db,
            sun_loss_db=sun_loss_db,
            rain_loss_db=rain_db,
            uplink_db=self.up.reported.carrier.level_db(unix_s),
            uplink_loss_db=self.up.reported.loss_db(unix_s),
            transmit_loss_db=self.up.transmit.loss_db(unix_s),
            next_pass=upcoming,
            sun_pass_now=upcoming is not None and unix_s >= upcoming.start_unix_s - SUN_PASS_GUARD_S,
            rain_hides=(
                (weather.rain_measured(unix_s) or _note_agrees(weather.rain_noted(unix_s), confidence))
                and not deficit_db > rain_loss_db(VIOLENT_RAIN_MM_H, plan)
            ),
            may_be_rain=facts is not None and facts.may_be_rain,
            confidence=confidence,
            evidence=evidence,
        )

    def _facts(
        self,
        unix_s: float,
        losses_db: tuple[float, float],
        weather: WeatherWatch,
        plan: LinkPlan,
        frequency_ghz: float,
    ) -> SignalFacts | None:
        """All that is known of the loss; None where nothing is missing."""
        deficit_db, sun_loss_db = losses_db
        excursion, carrier = self.excursion, self.down.carrier
        if isnan(excursion.start_unix_s) and not deficit_db >= START_DB:
            return None
        began = unix_s if isnan(excursion.start_unix_s) else excursion.start_unix_s
        loss_db, doubt_db, scale = deficit_db, self._doubt_db(unix_s, plan), 1.0
        teller = self._teller(unix_s)
        if teller is self.up.path.carrier:
            scale = mispoint_ratio(plan)
            loss_db, doubt_db = self._told_db(unix_s, deficit_db, scale), 0.0
        path_loss_db = self.up.path.loss_db(unix_s)
        told = not isnan(self.up.transmit.loss_db(unix_s))
        facts = SignalFacts(
            loss_db=loss_db,
            noise_db=teller.noise_db / scale,
            coarse=teller.resolution_db >= COARSE_DB,
            resolution_db=teller.resolution_db / scale,
            interval_s=carrier.interval.typical_s,
            onset_s=excursion.onset.took_s,
            slow_start=excursion.slow_start,
            age_s=excursion.age_s(unix_s),
            jump_age_s=excursion.jump_age_s(unix_s),
            rise_db=loss_db - max(0.0, excursion.onset.base_db),
            jump_db=loss_db - doubt_db - max(0.0, excursion.onset.base_db),
            flat_s=excursion.flat_s(unix_s),
            slide_s=excursion.slide_s(unix_s),
            turns=excursion.turns(unix_s),
            worsened=excursion.worsened(unix_s, 180.0),
            gust_at_onset=weather.gust_near(began),
            knock_at_onset=weather.knock_near(began),
            rain_measured=weather.rain_measured(unix_s),
            rain_noted=weather.rain_noted(unix_s),
            gauge_dry=weather.gauge_dry(unix_s, began),
            gauge_due=weather.gauge_due(unix_s, began),
            rain_over=weather.rain_over(unix_s),
            rained=weather.rained_since(began),
            roughness=self._roughness(unix_s),
            went_before=excursion.went_like(unix_s, loss_db),
            rain_reach_db=rain_loss_db(VIOLENT_RAIN_MM_H, plan),
            cloud_reach_db=cloud_loss_db(
                frequency_ghz, plan.pointing.elevation_deg, plan.downlink.system_noise_k
            ),
            sun_loss_db=sun_loss_db,
            dips=len(carrier.dips_unix_s),
            locked=carrier.locked,
            downlink_loss_db=deficit_db,
            downlink_noise_db=hypot(carrier.noise_db, STEP_SPREAD * carrier.resolution_db),
            uplink_loss_db=path_loss_db,
            uplink_noise_db=self.up.path.carrier.noise_db,
            controlled=0.0 if told else self.power_control.chance,
            uplink_expected=uplink_loss(plan, nan if isnan(path_loss_db) else deficit_db),
        )
        spared = facts.uplink_spared
        if facts.age_s >= SETTLED_S and sun_loss_db < SUN_EXPLAINS_DB and not isnan(spared):
            self.power_control.learn(spared)
        return facts


def _note_agrees(noted: float, confidence: Mapping[SignalCause, float]) -> bool:
    """Whether a note of rain is borne out by what the loss looks like: then the rain is seen."""
    return noted > 0.0 and confidence.get("rain", 0.0) >= RAIN_LIKELY


def pass_in_s(upcoming: SunPass | None, unix_s: float) -> float:
    """Seconds until the pass starts, 0 while it lasts, inf when none is known."""
    if upcoming is None or unix_s > upcoming.end_unix_s:
        return inf
    return max(0.0, upcoming.start_unix_s - unix_s)
