"""What is known of a loss of signal, and what follows from it whatever the cause."""

from dataclasses import dataclass
from functools import cached_property
from math import hypot, isnan, nan

from agent.watch.uplink import UplinkLoss, mispoint_log_odds

# Sizes below are judgement where no source stands beside them; tests.bench.detection shows what they do.
SPACINGS = 2.5  # an onset within two spacings of the readings, and their jitter, may have been abrupt
ABRUPT_S = 30.0  # a gust or knock is over in seconds; three cells of the decision grid
RAIN_ONSET_S = (45.0, 900.0)  # the front of a shower takes about a minute to a quarter of an hour
TOWERING = 2.0  # times as much water as in a thick cloud is seldom, without rain
DRY_THROUGHOUT_S = 900.0  # a shower that takes so long to cross the path wets a gauge beside the dish
UPLINK_DOUBT = 0.15  # the beam's shape, the rain's temperature and the interference are known this well
UPLINK_MOST = 3.0
UPLINK_LEAST = -7.0  # a dish that is turned costs the uplink what the parabola says, or it is not turned
UPLINK_FITS = 2.5  # further from what a turned dish takes, it is something else again
UNSURE_CONTROLLED = 0.5  # where the network rather levels the uplink than not, that says nothing of the sky
DRIFT_DB = 0.2  # of both references against each other


@dataclass(frozen=True)
class SignalFacts:
    """What is known of a loss of signal; NaN where it is not. Times are in seconds before now."""

    loss_db: float
    noise_db: float
    resolution_db: float
    coarse: bool  # the figure moves in steps that make every change abrupt and every level flat
    interval_s: float
    onset_s: float
    slow_start: bool
    age_s: float
    jump_age_s: float
    rise_db: float  # what the last jump took
    jump_db: float  # the same with no more certainty than the figure has
    flat_s: float
    slide_s: float
    turns: int
    worsened: int
    gust_at_onset: bool
    knock_at_onset: bool
    rain_measured: bool
    rain_noted: float  # what a note of rain is worth still, 0 to 1
    gauge_dry: bool
    gauge_due: bool  # not read since, but soon to be
    rain_over: bool
    rained: bool  # since the loss set in, or just before
    roughness: float
    went_before: int
    rain_reach_db: float  # what the heaviest of rains takes from this link
    cloud_reach_db: float  # what a thick cloud without rain takes from it
    sun_loss_db: float
    dips: int
    locked: bool
    downlink_loss_db: float
    downlink_noise_db: float
    uplink_loss_db: float
    uplink_noise_db: float
    controlled: float  # chance that the network made up for what the uplink lost
    uplink_expected: UplinkLoss

    @property
    def abrupt(self) -> bool:
        """Whether it came as quickly as the readings can show."""
        return self.onset_s <= max(ABRUPT_S, SPACINGS * self.interval_s)

    @property
    def came_as_rain(self) -> bool:
        """Whether it took about as long to come as the front of a shower."""
        shortest_s = max(RAIN_ONSET_S[0], SPACINGS * self.interval_s)
        return shortest_s < self.onset_s <= RAIN_ONSET_S[1] - self.interval_s

    @property
    def slower_than_rain(self) -> bool:
        """Whether it took longer to come than the front of a shower."""
        return isnan(self.onset_s) or self.onset_s > RAIN_ONSET_S[1] - self.interval_s

    @property
    def above_rain(self) -> bool:
        """Whether it is more than the heaviest of rains takes from this link."""
        return self.loss_db > self.rain_reach_db

    @property
    def cloud_like(self) -> bool:
        """Whether clouds may have taken it: they come and go slowly, and stand still for long."""
        return self.loss_db <= TOWERING * self.cloud_reach_db and not self.abrupt

    @property
    def may_be_rain(self) -> bool:
        """Whether frequency and gauge leave rain possible."""
        return not self.above_rain and not self.gauge_dry

    @property
    def dry_throughout(self) -> bool:
        """Whether a gauge has stayed dry all through a long loss."""
        return self.gauge_dry and not self.rained and self.age_s >= DRY_THROUGHOUT_S

    @property
    def rain_ruled_out(self) -> bool:
        """Whether no rain can have taken it."""
        return self.above_rain or self.dry_throughout

    @property
    def on_an_edge(self) -> bool:
        """Whether its unrest is the display's alone, which jumps to and fro where two of its steps meet."""
        return self.coarse and self.rain_ruled_out

    @property
    def worth_waiting(self) -> bool:
        """Whether a gauge is about to decide what nothing else does."""
        return self.gauge_due and not self.above_rain and not self.uplink_log_odds > 0.0

    @property
    def sky_unknown(self) -> bool:
        """Whether it may be rain, and no gauge, note or uplink says anything of it."""
        uplink_tells = not isnan(self.uplink_loss_db) and self.controlled <= UNSURE_CONTROLLED
        told = self.rain_measured or self.rain_noted > 0.0 or self.gauge_dry or self.gauge_due or uplink_tells
        return not told and not self.above_rain

    @cached_property
    def uplink_log_odds(self) -> float:
        """How much likelier a turned dish makes the uplink's loss than something in the path, or NaN."""
        measured_db, mispoint_db = self.uplink_loss_db, self.uplink_expected.mispoint_db
        if not (self.locked and self.downlink_loss_db > 0.0 and mispoint_db > 0.0):
            return nan
        if isnan(measured_db - self.uplink_expected.least_in_path_db):
            return nan
        downlink_db = mispoint_db / self.downlink_loss_db * self.downlink_noise_db
        own_db = hypot(self.uplink_noise_db, DRIFT_DB)
        spread_db = hypot(own_db, downlink_db, UPLINK_DOUBT * mispoint_db)
        log_odds = mispoint_log_odds(measured_db, self.uplink_expected, spread_db, own_db, self.controlled)
        limited = max(UPLINK_LEAST, min(UPLINK_MOST, log_odds))
        fits = abs(measured_db - mispoint_db) <= UPLINK_FITS * spread_db
        return limited if fits else min(limited, 0.0)

    @property
    def uplink_spared(self) -> float:
        """By how many standard deviations the uplink lost less than anything would take, or NaN."""
        least_db = min(self.uplink_expected.least_in_path_db, self.uplink_expected.mispoint_db)
        if not (self.locked and self.downlink_loss_db > 0.0 and least_db > 0.0):
            return nan
        downlink_db = least_db / self.downlink_loss_db * self.downlink_noise_db
        spread_db = hypot(self.uplink_noise_db, DRIFT_DB, downlink_db, UPLINK_DOUBT * least_db)
        return max(0.0, least_db - self.uplink_loss_db) / spread_db
