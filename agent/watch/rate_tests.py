"""Decides what the day's tests of the rate measured lately, bin by bin, and what is normal on this day."""

from dataclasses import dataclass, field
from math import isnan, nan

from agent.records import Reach, Throughput
from agent.throughput import HEADROOM_PERCENT, uplink_capacity_mbps, window_limit_mbps
from agent.watch.series import Interval

HEADROOM_WITHIN_S = 1800.0  # what a network's other users do changes within the hour (judgement)
HEADROOM_TESTS = 3  # at least so many, however old
DEAD_LOSS_PERCENT = 90.0  # nothing comes through at all: that can be any hop
BIN_S = 60.0  # tests that come faster are averaged, so that one bad second is not three bad tests
# A base is learnt quickly from good tests and slowly from bad ones, so that hours of trouble stay trouble.
GOOD_SHARE = 0.05
BAD_SHARE = 0.01  # an hour and a half of tests a minute (judgement)
FAR_SHARE = 0.3  # so far on the bad side is trouble, not news of what is normal
OLD_SPACINGS = 3.0  # a figure older than so many of its own spacings is not the present rate


@dataclass(slots=True)
class Figure:
    """One figure of the tests: the last bins, and what is normal on this day (`base`)."""

    good_is_high: bool
    interval: Interval = field(default_factory=Interval)
    unix_s: list[float] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    base: float = nan
    bins: int = 0
    total: float = 0.0
    count: int = 0

    def add(self, unix_s: float, value: float | None, by_hand: bool = False) -> None:
        """One test's value, None when the test did not say."""
        if value is not None:
            self.interval.seen(unix_s, by_hand)
            self.total += value
            self.count += 1

    def close(self, unix_s: float, trouble: bool) -> None:
        """End of a bin; trouble that has been recognised does not teach what is normal."""
        if not self.count:
            return
        value = self.total / self.count
        self.total, self.count = 0.0, 0
        self.unix_s.append(unix_s)
        self.values.append(value)
        while len(self.values) > HEADROOM_TESTS and self.unix_s[0] < unix_s - HEADROOM_WITHIN_S:
            del self.unix_s[0], self.values[0]
        if isnan(self.base):
            self.base = value
            self.bins = 0
        good = (value > self.base) == self.good_is_high
        far = abs(value - self.base) > FAR_SHARE * abs(self.base)
        self.bins += 1
        # The first bins settle quickly on the better ones: set-up tests often fail.
        share = max(GOOD_SHARE, 1.0 / self.bins) if good else 0.0 if trouble or far else BAD_SHARE
        self.base += share * (value - self.base)

    def forget_old(self, unix_s: float) -> bool:
        """Drop what is too old to be the present rate, not what is normal; True where something was."""
        spacing_s = self.interval.typical_s
        old_s = OLD_SPACINGS * max(spacing_s, BIN_S) if spacing_s > 0.0 else HEADROOM_WITHIN_S
        if not (self.values or self.count) or unix_s - self.interval.last_unix_s <= old_s:
            return False
        self.unix_s, self.values, self.total, self.count = [], [], 0.0, 0
        return True

    def recent(self) -> float:
        """The better of the last two bins: one bad test proves nothing. NaN with fewer than two."""
        if len(self.values) < 2:
            return nan
        return max(self.values[-2:]) if self.good_is_high else min(self.values[-2:])

    def low(self) -> float:
        """A low percentile of the last half hour, the second lowest at least; NaN with fewer than three."""
        if len(self.values) < HEADROOM_TESTS:
            return nan
        rank = max(1, int(len(self.values) * HEADROOM_PERCENT / 100.0))
        return sorted(self.values)[rank]


def _high() -> Figure:
    return Figure(good_is_high=True)


def _low() -> Figure:
    return Figure(good_is_high=False)


@dataclass(slots=True)
class Tests:
    """The day's throughput tests in bins of a minute at least, and which hop a shortfall was laid to."""

    down_mbps: Figure = field(default_factory=_high)
    up_mbps: Figure = field(default_factory=_high)
    window_mbps: Figure = field(default_factory=_high)
    stream_share: Figure = field(default_factory=_high)
    rtt_ms: Figure = field(default_factory=_low)
    loss_percent: Figure = field(default_factory=_low)
    jitter_ms: Figure = field(default_factory=_low)
    local_rtt_ms: Figure = field(default_factory=_low)
    local_loss_percent: Figure = field(default_factory=_low)
    bin_start_unix_s: float = nan
    changes: int = 0  # bins closed and figures grown old: nothing else changes what the tests say
    dead: bool = False  # the last test got nothing through
    tested: Interval = field(default_factory=Interval)
    blamed: str = ""

    def add(self, test: Throughput) -> None:
        """One test. A passive meter sees use, not capacity: delays, losses and the stream's share count."""
        self.close(test.unix_s)
        self.tested.seen(test.unix_s)
        dead = not (test.down_mbps or test.up_mbps) and (test.loss_percent or 0.0) >= DEAD_LOSS_PERCENT
        self.changes += dead != self.dead
        self.dead = dead
        if test.method == "passive":
            self.stream_share.add(test.unix_s, _stream_share(test))
        else:
            by_hand = test.method == "manual"
            # Nothing at all is a test that failed.
            self.down_mbps.add(test.unix_s, test.down_mbps or None, by_hand)
            self.up_mbps.add(test.unix_s, uplink_capacity_mbps(test), by_hand)
            self.window_mbps.add(test.unix_s, window_limit_mbps(test))
        self.rtt_ms.add(test.unix_s, test.rtt_ms)
        self.loss_percent.add(test.unix_s, test.loss_percent)
        self.jitter_ms.add(test.unix_s, test.jitter_ms)

    def add_reach(self, reach: Reach) -> None:
        """One round of echoes."""
        self.close(reach.unix_s)
        self.rtt_ms.add(reach.unix_s, reach.rtt_ms)
        self.loss_percent.add(reach.unix_s, reach.loss_percent)
        self.jitter_ms.add(reach.unix_s, reach.jitter_ms)
        self.local_rtt_ms.add(reach.unix_s, reach.local_rtt_ms)
        self.local_loss_percent.add(reach.unix_s, reach.local_loss_percent)

    def close(self, unix_s: float) -> None:
        """The time is `unix_s`: a bin that is full is closed."""
        if isnan(self.bin_start_unix_s):
            self.bin_start_unix_s = unix_s
        if unix_s - self.bin_start_unix_s < BIN_S:
            return
        self.bin_start_unix_s = unix_s
        self.changes += 1
        for figure in self._figures():
            figure.close(unix_s, bool(self.blamed))
        old = [figure.forget_old(unix_s) for figure in self._figures()]
        if any(old) and isnan(self.up_mbps.recent()) and isnan(self.stream_share.recent()):
            self.dead, self.blamed = False, ""

    def _figures(self) -> tuple[Figure, ...]:
        rates = (self.down_mbps, self.up_mbps, self.window_mbps, self.stream_share)
        local = (self.local_rtt_ms, self.local_loss_percent)
        return (*rates, *local, self.rtt_ms, self.loss_percent, self.jitter_ms)


def _stream_share(test: Throughput) -> float | None:
    """What share of the stream a passive meter saw leave (1 at most); None where no stream runs."""
    if test.up_mbps is None or not test.stream_mbps:
        return None
    return min(1.0, test.up_mbps / test.stream_mbps)
