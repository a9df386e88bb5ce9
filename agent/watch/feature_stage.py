"""Decides what is known at each decision: readings in, one row of threshold-free features out.

Rows lie on a fixed grid of absolute time; readings with a time before the decision belong to it, whatever
the order in which equal times arrived. Nothing here knows a threshold of a rule.
"""

from dataclasses import dataclass, field
from math import inf, isnan, nan
from typing import NamedTuple

from agent.heat.outlook import ample_margin
from agent.job import Job
from agent.link_plan import LinkPlan, by_engine_clock
from agent.records import (
    AnyReading,
    ClockChange,
    Note,
    Power,
    Reach,
    Signal,
    Temperature,
    Throughput,
    Weather,
)
from agent.watch.features import Features
from agent.watch.heat_watch import HeatView, HeatWatch, UnitView
from agent.watch.input_watch import Inputs
from agent.watch.link_state import LinkView, Lock, phase_of
from agent.watch.rate import RateFacts, rate_facts
from agent.watch.rate_tests import Tests
from agent.watch.series import BY_HAND_S
from agent.watch.signal_watch import SIGNAL_DOWN_DB, SignalView, SignalWatch, pass_in_s
from agent.watch.uplink import mispoint_loss_db
from agent.watch.weather_watch import WeatherWatch

HEAT_NEAR_DEGC = 10.0  # a transmitter cooler than this below its limit does not cut its power for heat
DOWNLINK_FINE_DB = 0.5  # what a good re-peak leaves at most, as in `repeak.clear_db`
SIGNAL_RECENT_S = 600.0  # the last two tests were made within so long, with the signal of then (judgement)
WALKS_THROUGH_S = 30.0  # a person or a truck is mostly gone by then (common practice), and the link speaks


class View(NamedTuple):
    """Everything known at one decision: the features that rules look at, and what their words are made of."""

    unix_s: float
    features: Features
    link: LinkView
    signal: SignalView
    heat: HeatView
    rate: RateFacts
    silent: str  # the input that is silent longest
    clock_stepped_s: float  # by how much the agent's own clock was last set; positive is forward
    plan: LinkPlan
    job: Job


class Tracked(NamedTuple):
    """What the trackers say at one decision."""

    link: LinkView
    signal: SignalView
    heat: HeatView
    rate: RateFacts


@dataclass(slots=True)
class FeatureStage:
    """All trackers. Feed readings in time order, close each grid cell once."""

    signal: SignalWatch = field(default_factory=SignalWatch)
    weather: WeatherWatch = field(default_factory=WeatherWatch)
    heat: HeatWatch = field(default_factory=HeatWatch)
    tests: Tests = field(default_factory=Tests)
    inputs: Inputs = field(default_factory=Inputs)
    lock: Lock = field(default_factory=Lock)
    rate: RateFacts | None = None
    rated: tuple[int, float] = (0, nan)  # the state of the tests and the stream (Mbit/s) behind `rate`
    signal_loss_unix_s: float = -inf

    def add(self, reading: AnyReading) -> None:
        """One reading of the open cell."""
        if reading.sent_unix_s is not None:
            self.inputs.clock_refused_unix_s = reading.unix_s
        match reading:
            case Signal():
                self.inputs.hear("signal", reading, by_hand=reading.method is not None)
                self.signal.add(reading)
                self.lock.add(reading)
            case Temperature():
                self.inputs.hear(f"temperature {reading.where}", reading)
                self._temperature(reading)
            case Throughput():
                self._throughput(reading)
            case Reach():
                self.inputs.hear("reach", reading)
                self.tests.add_reach(reading)
            case Weather():
                self.inputs.hear("weather", reading)
                self.weather.add(reading)
            case Power():
                self.inputs.hear("power", reading)
                self.inputs.power(reading)
            case Note():
                self._note(reading)
            case ClockChange():
                self.inputs.clock(reading)

    def _temperature(self, reading: Temperature) -> None:
        self.heat.add(reading)
        if reading.where == "ambient":
            self.weather.air(reading.unix_s, reading.temperature_degc)

    def _throughput(self, reading: Throughput) -> None:
        self.inputs.hear("throughput", reading, by_hand=reading.method == "manual")
        if reading.stream_mbps is not None:
            self.inputs.stream_mbps = reading.stream_mbps
        self.tests.add(reading)

    def _note(self, note: Note) -> None:
        self.inputs.stream(note)
        self.signal.note(note)
        self.heat.note(note)
        self.weather.note(note)

    def away(self, from_unix_s: float, to_unix_s: float, plan: LinkPlan) -> None:
        """Nobody watched between these moments: the sun shone on, and no input was silent."""
        self.heat.away(from_unix_s, to_unix_s, by_engine_clock(plan, self.inputs.clock_offset_s))
        self.inputs.back_unix_s = to_unix_s

    def close(self, unix_s: float, plan: LinkPlan, job: Job) -> View:
        """Close the cell that ends at `unix_s`."""
        plan = by_engine_clock(plan, self.inputs.clock_offset_s)
        signal = self.signal.close(unix_s, self.weather, plan, job.downlink.frequency_ghz)
        heat = self.heat.close(unix_s, self.weather, plan, job)
        self.tests.close(unix_s)
        rate = self._rate_now(plan, job)
        losses = (signal.deficit_db, signal.uplink_loss_db, signal.transmit_loss_db)
        if any(loss >= SIGNAL_DOWN_DB for loss in losses) or isnan(signal.level_db):
            self.signal_loss_unix_s = unix_s
        tracked = Tracked(self._link(unix_s), signal, heat, rate)
        features, silent = self._features(unix_s, tracked, plan)
        return View(unix_s, features, *tracked, silent, self.inputs.clock_stepped_s, plan, job)

    def _link(self, unix_s: float) -> LinkView:
        reference, carrier, lock = self.signal.down.reference, self.signal.down.carrier, self.lock
        heard_unix_s, usual_s = self._signal_heard()
        peaking, peaked = reference.peaking(unix_s), reference.peaked(unix_s)
        return LinkView(
            phase=phase_of(lock, peaking, peaked, reference.level_db, carrier.settling(unix_s)),
            lock_since_unix_s=lock.since_unix_s,
            lost_s=lock.lost_s(unix_s),
            held_s=lock.held_s(unix_s),
            knock=self.weather.knock_near(lock.since_unix_s),
            gust=self.weather.gust_near(lock.since_unix_s),
            rain_seen=self.weather.rain_seen(unix_s),
            power_changed=self.inputs.power_near(lock.since_unix_s),
            silent_s=unix_s - heard_unix_s,
            usual_s=usual_s,
            accepted=reference.origin == "accepted",
            adopted=reference.origin == "steady",
        )

    def _signal_heard(self) -> tuple[float, float]:
        """When the signal was last heard of (-inf: never), and how often that may be expected (s)."""
        heard, read_unix_s = self.inputs.heard.get("signal"), self.inputs.by_hand_unix_s.get("signal", -inf)
        heard_unix_s = -inf if heard is None else max(heard.last_unix_s, self.inputs.back_unix_s)
        if heard is None or read_unix_s > heard_unix_s:
            return read_unix_s, BY_HAND_S
        return heard_unix_s, heard.typical_s

    def _rate_now(self, plan: LinkPlan, job: Job) -> RateFacts:
        stream = self.inputs.stream_mbps
        stream_mbps = job.service.stream_mbps if isnan(stream) or stream <= 0.0 else stream
        if self.rate is None or self.rated != (self.tests.changes, stream_mbps):
            self.rated = (self.tests.changes, stream_mbps)
            self.rate = rate_facts(
                self.tests,
                _carried(job.service.down_mbps, plan.downlink.rate_clear_mbps),
                _carried(job.service.up_mbps, plan.uplink.rate_clear_mbps),
                stream_mbps,
            )
        return self.rate

    def _features(self, unix_s: float, tracked: Tracked, plan: LinkPlan) -> tuple[Features, str]:
        inputs, (link, signal, heat, rate) = self.inputs, tracked
        reference, carrier = self.signal.down.reference, self.signal.down.carrier
        quiet_signal, quiet_other = inputs.silences(unix_s)
        transmitter, modem = heat.units
        exposed = [unit for unit in heat.units if not unit.shaded]
        sunny = heat.sun is not None and heat.sun.shining
        # Without a level nothing tells any cause.
        doubtless = nan if isnan(signal.level_db) else 0.0
        row = Features(
            deficit_db=signal.deficit_db - (signal.unexplained_db - signal.certain_db),
            certain_db=signal.certain_db,
            sudden_db=self.signal.loss.sudden_db,
            loss_age_s=self.signal.loss.age_s(unix_s),
            told_elsewhere=float(signal.verdict is not None and signal.verdict.told_elsewhere),
            mispoint_confidence=signal.confidence.get("mispoint", doubtless),
            rain_confidence=signal.confidence.get("rain", doubtless),
            blockage_confidence=signal.confidence.get("blockage", doubtless),
            dips=float(len(carrier.dips_unix_s)),
            dip_s=carrier.last_dip_s(unix_s),
            rain_hides=float(signal.rain_hides),
            sun_pass_in_s=pass_in_s(signal.next_pass, unix_s),
            sun_pass_depth_db=0.0 if signal.next_pass is None else signal.next_pass.depth_db,
            sun_pass_now=float(signal.sun_pass_now),
            peaking=float(reference.peaking(unix_s)),
            settling=float(carrier.settling(unix_s)),
            signal_down=float(unix_s - self.signal_loss_unix_s < SIGNAL_RECENT_S or not carrier.locked),
            limit_margin_degc=min(transmitter.margin_degc, modem.margin_degc),
            to_limit_s=min(transmitter.planned_s, modem.planned_s),
            heat_loss_db=_heat_loss_db(signal, heat, plan),
            exposure_s=max([unit.exposure_s for unit in exposed], default=0.0),
            blind_exposure_s=max(
                [unit.exposure_s for unit in exposed if unit.blind and not _cool_by_plan(unit, heat, plan)],
                default=0.0,
            ),
            exposed_now=float(sunny and bool(exposed)),
            throughput_ratio=rate.ratio,
            rtt_ratio=1.0 if rate.lan_confidence > rate.network_confidence else rate.rtt_ratio,
            headroom_mbps=rate.headroom_mbps,
            rate_known=float(not (isnan(rate.ratio) and isnan(rate.lan_confidence))),
            uplink_tested=float(not isnan(rate.headroom_mbps)),
            streaming=float(inputs.streaming),
            lan_confidence=rate.lan_confidence,
            network_confidence=rate.network_confidence,
            rate_cause_known=float(bool(self.tests.blamed)),
            on_battery=float(inputs.source == "battery"),
            runtime_s=inputs.runtime_s,
            battery_percent=inputs.battery_percent,
            signal_silence=quiet_signal[0],
            signal_age_s=quiet_signal[1],
            other_silence=quiet_other[0],
            other_age_s=quiet_other[1],
            clock_stepped_ago_s=unix_s - inputs.clock_stepped_unix_s,
            clock_refused_ago_s=unix_s - inputs.clock_refused_unix_s,
            lock_lost_s=link.lost_s,
            unlocked=float(not self.lock.locked and self.lock.ever),
            unlocked_long=float(link.lost_s >= WALKS_THROUGH_S),
            stream_dead=float(rate.dead),
            level_accepted=float(link.accepted),
            below_plan_db=self.signal.below_plan_db(unix_s, plan),
        )
        return row, quiet_signal[2] if quiet_signal[0] >= quiet_other[0] else quiet_other[2]


def _cool_by_plan(unit: UnitView, heat: HeatView, plan: LinkPlan) -> bool:
    """Whether the plan keeps this unit far below its limit all day, in air as warm as it is now."""
    warmer_k = 0.0 if isnan(heat.air_degc) else max(0.0, heat.air_degc - plan.heat.air_degc)
    return unit.where == "transmitter" and ample_margin(plan.heat, warmer_k)


def _carried(booked_mbps: float, rate_mbps: float) -> float:
    """What may be expected of a test: the booked rate, or less where the planned link carries less."""
    return min(booked_mbps, rate_mbps) if rate_mbps > 0.0 else booked_mbps


def _heat_loss_db(signal: SignalView, heat: HeatView, plan: LinkPlan) -> float:
    """Uplink or transmit power lost while the downlink is fine and the transmitter is near its limit (dB).

    What a slightly turned dish would take from the uplink is no loss by heat.
    """
    transmitter = heat.units[0]
    if not (signal.deficit_db < DOWNLINK_FINE_DB and transmitter.margin_degc <= HEAT_NEAR_DEGC):
        return 0.0
    mispoint_db = mispoint_loss_db(plan, max(0.0, signal.deficit_db))
    uplink_db = signal.uplink_loss_db - (0.0 if isnan(mispoint_db) else mispoint_db)
    losses = [loss for loss in (uplink_db, signal.transmit_loss_db) if not isnan(loss)]
    return max(losses, default=nan)
