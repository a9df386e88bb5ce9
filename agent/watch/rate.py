"""Decides what the tests say of the rate against what the link should carry, and which hop is to blame."""

from dataclasses import dataclass, field
from math import exp, isnan, nan

from agent.records import Reach, Throughput
from agent.throughput import (
    HEADROOM_PERCENT,
    STREAM_ALLOWANCE,
    WINDOW_SHARE,
    uplink_capacity_mbps,
    window_limit_mbps,
)
from agent.watch.series import Interval

HEADROOM_WITHIN_S = 1800.0
HEADROOM_TESTS = 3  # at least so many, however old
RTT_UP_RATIO = 1.3
LOSS_UP_PERCENT = 1.0
HEAVY_LOSS_PERCENT = 4.0
STORM_LOSS_PERCENT = 12.0  # no operator's network loses so much; a sick cable or radio hop does
DEAD_LOSS_PERCENT = 90.0  # nothing comes through at all: that can be any hop
JITTER_UP_RATIO = 3.0
LOCAL_RTT_UP_MS = 30.0  # a sound cable or radio hop answers within a few milliseconds (common practice)
FULL_RATIO = 1.25
OWN_QUEUE_RATIO = 2.4  # a modem's buffer holds half a second to a second: about one more round trip
BIN_S = 60.0  # tests that come faster are averaged, so that one bad second is not three bad tests
# A base is learnt quickly from good tests and slowly from bad ones, so that hours of trouble stay trouble.
GOOD_SHARE = 0.05
BAD_SHARE = 0.01
FAR_SHARE = 0.3  # so far on the bad side is trouble, not news of what is normal
OLD_SPACINGS = 3.0  # a figure older than so many of its own spacings is not the present rate
LIKELY = 0.6  # confidence from which a cause is named
LOW_RATIO = 0.75
RECOVERED_RATIO = 0.85


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


@dataclass(frozen=True, slots=True)
class RateFacts:
    """Rates of the recent tests against what is expected; NaN where not known."""

    down_mbps: float
    up_mbps: float
    ratio: float
    rtt_ms: float
    loss_percent: float
    carried_mbps: float  # by the weakest of the recent uplink tests
    stream_mbps: float
    headroom_mbps: float
    lan_confidence: float
    network_confidence: float
    rtt_ratio: float  # to what is normal on this day
    dead: bool  # the last test got nothing through
    tested_unix_s: float  # when the last test came; NaN before the first


def rate_facts(tests: Tests, booked_down_mbps: float, booked_up_mbps: float, stream_mbps: float) -> RateFacts:
    """What the recent tests say. The booked rates are those that the signal carries now (Mbit/s).

    A test limited by its own TCP window says nothing of the link: its ratio counts as 1.
    """
    down, up = tests.down_mbps.recent(), tests.up_mbps.recent()
    ratios = (
        _ratio(down, booked_down_mbps, tests.down_mbps.base),
        _ratio(up, booked_up_mbps, tests.up_mbps.base),
        tests.stream_share.recent(),
    )
    known = [ratio for ratio in ratios if not isnan(ratio)]
    window = tests.window_mbps.recent()
    limited = not isnan(window) and not isnan(down) and down >= WINDOW_SHARE * window
    ratio = (1.0 if limited else min(known)) if known else nan
    lan, network = _blame(tests, ratio, stream_mbps)
    carried = tests.up_mbps.low()
    return RateFacts(
        down_mbps=down,
        up_mbps=up,
        ratio=ratio,
        rtt_ms=tests.rtt_ms.recent(),
        loss_percent=tests.loss_percent.recent(),
        carried_mbps=carried,
        stream_mbps=stream_mbps,
        headroom_mbps=carried - STREAM_ALLOWANCE * stream_mbps,
        lan_confidence=lan,
        network_confidence=network,
        rtt_ratio=tests.rtt_ms.recent() / tests.rtt_ms.base if tests.rtt_ms.base > 0.0 else nan,
        dead=tests.dead,
        tested_unix_s=tests.tested.last_unix_s,
    )


def _ratio(measured_mbps: float, booked_mbps: float, base_mbps: float) -> float:
    """Share of the rate to expect: the booked one, or what good tests of this day gave if that is less."""
    expected = booked_mbps if isnan(base_mbps) else min(booked_mbps, base_mbps)
    return measured_mbps / expected if expected > 0.0 else nan


def _blame(tests: Tests, ratio: float, stream_mbps: float) -> tuple[float, float]:
    """Confidence that the LAN, and that the network beyond the satellite, is to blame for a low rate.

    What came first counts: a stream that no longer fits queues and raises the RTT whoever took the room.
    """
    full = tests.up_mbps.recent() <= FULL_RATIO * stream_mbps
    lan, network = _hops(tests, full)
    if not ratio <= LOW_RATIO:
        if ratio >= RECOVERED_RATIO:
            tests.blamed = ""
        return lan, network
    if not tests.blamed and max(lan, network) >= LIKELY:
        tests.blamed = "lan" if lan > network else "network"
    if tests.blamed == "lan":
        return max(lan, network), min(lan, network)
    return lan, network


def _hops(tests: Tests, full: bool) -> tuple[float, float]:
    """A congested network queues: the RTT grows. A bad cable or radio hop loses and jitters without that.

    Where the stream fills what is left (`full`), its own queue raises the RTT: heavy loss then tells the LAN.
    Where the gateway is probed too, that decides whether it is the LAN.
    """
    local = _local_trouble(tests)
    if local == 1.0:
        return 0.9, 0.05
    rtt = tests.rtt_ms.recent()
    loss_more = tests.loss_percent.recent() - tests.loss_percent.base
    loss_up = loss_more >= LOSS_UP_PERCENT
    jitter_up = _up(tests.jitter_ms.recent(), tests.jitter_ms.base, JITTER_UP_RATIO) >= 1.0
    if isnan(rtt) and isnan(tests.loss_percent.recent()) and isnan(tests.jitter_ms.recent()):
        return nan, nan
    rtt_up = _up(rtt, tests.rtt_ms.base, RTT_UP_RATIO)
    if tests.loss_percent.recent() >= DEAD_LOSS_PERCENT:
        return 0.4, 0.4
    own_queue = rtt <= OWN_QUEUE_RATIO * tests.rtt_ms.base
    if own_queue and loss_more >= (HEAVY_LOSS_PERCENT if full else STORM_LOSS_PERCENT):
        return 0.65, 0.3
    if rtt_up >= 1.0:
        return 0.1, min(0.95, 0.6 + 0.5 * (rtt_up - 1.0))
    symptoms = int(loss_up) + int(jitter_up) + int(loss_more >= HEAVY_LOSS_PERCENT)
    lan = 0.2 if local == 0.0 else 1.0 / (1.0 + exp(1.0 - 1.6 * symptoms))
    return lan, 0.5 * (1.0 - lan)


def _local_trouble(tests: Tests) -> float:
    """1 where the hop to the terminal's gateway loses or delays, 0 where it is sound, NaN if not probed."""
    rtt, loss = tests.local_rtt_ms, tests.local_loss_percent
    if isnan(rtt.recent()) and isnan(loss.recent()):
        return nan
    slow = rtt.recent() - rtt.base >= LOCAL_RTT_UP_MS
    return float(slow or loss.recent() - loss.base >= LOSS_UP_PERCENT)


def _up(value: float, base: float, ratio: float) -> float:
    """How far `value` is on its way to `ratio` times `base`: 1 there, 0 at the base or when not known."""
    if isnan(value) or isnan(base) or base <= 0.0:
        return 0.0
    return max(0.0, (value / base - 1.0) / (ratio - 1.0))
