"""Throughput tests against what the link should carry, and which hop is to blame."""

from dataclasses import dataclass, field
from math import exp, isnan, nan

from agent.records import Throughput
from agent.watch.series import median, percentile

RECENT_TESTS = 3
HEADROOM_PERCENT = 10.0
HEADROOM_TESTS = 8
# Protocol overhead and the encoder's peaks over its mean rate: a fifth on top is common practice.
STREAM_ALLOWANCE = 1.2
RTT_UP_RATIO = 1.3
LOSS_UP_PERCENT = 2.0
JITTER_UP_RATIO = 3.0
BIN_S = 60.0  # tests that come faster are averaged, so that one bad second is not three bad tests
# A base is learnt quickly from good tests and slowly from bad ones, so that hours of trouble stay trouble.
GOOD_SHARE = 0.05
BAD_SHARE = 0.01


@dataclass(slots=True)
class Figure:
    """One figure of the tests: the last bins and what is normal on this day (`base`)."""

    good_is_high: bool
    last: list[float] = field(default_factory=list)
    base: float = nan
    total: float = 0.0
    count: int = 0

    def add(self, value: float | None) -> None:
        """One test's value, None when the test did not say."""
        if value is not None:
            self.total += value
            self.count += 1

    def close(self) -> None:
        """End of a bin."""
        if not self.count:
            return
        value = self.total / self.count
        self.total, self.count = 0.0, 0
        self.last.append(value)
        del self.last[:-HEADROOM_TESTS]
        if isnan(self.base):
            self.base = value
        good = (value > self.base) == self.good_is_high
        self.base += (GOOD_SHARE if good else BAD_SHARE) * (value - self.base)

    def recent(self) -> float:
        """Median of the last three bins; NaN with fewer than two."""
        return median(self.last[-RECENT_TESTS:]) if len(self.last) >= 2 else nan


def _high() -> Figure:
    return Figure(good_is_high=True)


def _low() -> Figure:
    return Figure(good_is_high=False)


@dataclass(slots=True)
class Tests:
    """The throughput tests of the day, in bins of a minute at least."""

    down_mbps: Figure = field(default_factory=_high)
    up_mbps: Figure = field(default_factory=_high)
    window_mbps: Figure = field(default_factory=_high)
    rtt_ms: Figure = field(default_factory=_low)
    loss_percent: Figure = field(default_factory=_low)
    jitter_ms: Figure = field(default_factory=_low)
    bin_start_unix_s: float = nan

    def add(self, test: Throughput) -> None:
        """One test. What a passive meter saw is use, not capacity: only its delays and losses count."""
        self._close_bin(test.unix_s)
        if test.method != "passive":
            self.down_mbps.add(test.down_mbps)
            self.up_mbps.add(test.up_mbps)
            self.window_mbps.add(window_limit_mbps(test))
        self.rtt_ms.add(test.rtt_ms)
        self.loss_percent.add(test.loss_percent)
        self.jitter_ms.add(test.jitter_ms)

    def close(self, unix_s: float) -> None:
        """The time is `unix_s`: a bin that is full is closed."""
        self._close_bin(unix_s)

    def _close_bin(self, unix_s: float) -> None:
        if isnan(self.bin_start_unix_s):
            self.bin_start_unix_s = unix_s
        elif unix_s - self.bin_start_unix_s >= BIN_S:
            self.bin_start_unix_s = unix_s
            for figure in (
                self.down_mbps,
                self.up_mbps,
                self.window_mbps,
                self.rtt_ms,
                self.loss_percent,
                self.jitter_ms,
            ):
                figure.close()


def window_limit_mbps(test: Throughput) -> float | None:
    """Rate that the test's window and RTT allow (Mbit/s): window / RTT a flow (RFC 6349, section 3.3.1)."""
    if test.window_bytes is None or not test.rtt_ms:
        return None
    flows = 1 if test.flows is None else test.flows
    return flows * test.window_bytes * 8.0 / (test.rtt_ms * 1000.0)


@dataclass(frozen=True, slots=True)
class RateFacts:
    """Rates of the recent tests against what is expected; NaN where not known."""

    down_mbps: float
    up_mbps: float
    ratio: float
    rtt_ms: float
    loss_percent: float
    headroom_mbps: float
    lan_confidence: float
    network_confidence: float
    window_limited: bool


def rate_facts(tests: Tests, booked_down_mbps: float, booked_up_mbps: float, stream_mbps: float) -> RateFacts:
    """What the recent tests say. The booked rates are those that the signal carries now (Mbit/s).

    A test limited by its own TCP window says nothing of the link: its ratio counts as 1.
    """
    down, up = tests.down_mbps.recent(), tests.up_mbps.recent()
    ratios = (
        _ratio(down, booked_down_mbps, tests.down_mbps.base),
        _ratio(up, booked_up_mbps, tests.up_mbps.base),
    )
    known = [ratio for ratio in ratios if not isnan(ratio)]
    window = tests.window_mbps.recent()
    limited = not isnan(window) and not isnan(down) and down >= 0.8 * window
    lan, network = _hops(tests)
    carried = nan if len(tests.up_mbps.last) < 3 else percentile(tests.up_mbps.last, HEADROOM_PERCENT)
    return RateFacts(
        down_mbps=down,
        up_mbps=up,
        ratio=(1.0 if limited else min(known)) if known else nan,
        rtt_ms=tests.rtt_ms.recent(),
        loss_percent=tests.loss_percent.recent(),
        headroom_mbps=carried - STREAM_ALLOWANCE * stream_mbps,
        lan_confidence=lan,
        network_confidence=network,
        window_limited=limited,
    )


def _ratio(measured_mbps: float, booked_mbps: float, base_mbps: float) -> float:
    """Share of the rate to expect: the booked one, or what good tests of this day gave if that is less."""
    expected = booked_mbps if isnan(base_mbps) else min(booked_mbps, base_mbps)
    return measured_mbps / expected if expected > 0.0 else nan


def _hops(tests: Tests) -> tuple[float, float]:
    """Confidence that the LAN, and that the network beyond the satellite, is to blame for a low rate.

    A congested network queues: the RTT grows. A bad cable or radio hop loses and jitters at the same RTT.
    """
    rtt = tests.rtt_ms.recent()
    loss_up = tests.loss_percent.recent() - tests.loss_percent.base >= LOSS_UP_PERCENT
    jitter_up = _up(tests.jitter_ms.recent(), tests.jitter_ms.base, JITTER_UP_RATIO) >= 1.0
    if isnan(rtt):
        return nan, nan
    rtt_up = _up(rtt, tests.rtt_ms.base, RTT_UP_RATIO)
    if rtt_up >= 1.0:
        return 0.1, min(0.95, 0.6 + 0.5 * (rtt_up - 1.0))
    symptoms = int(loss_up) + int(jitter_up)
    lan = 1.0 / (1.0 + exp(1.0 - 1.6 * symptoms))
    return lan, 0.5 * (1.0 - lan)


def _up(value: float, base: float, ratio: float) -> float:
    """How far `value` is on its way to `ratio` times `base`: 1 there, 0 at the base or when not known."""
    if isnan(value) or isnan(base) or base <= 0.0:
        return 0.0
    return max(0.0, (value / base - 1.0) / (ratio - 1.0))
