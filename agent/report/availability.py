"""How much of the job the booked rates were there: by the signal, by the tests, and by both."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isnan, nan

from agent.job import Service
from agent.link_plan import LinkPlan
from agent.plan.span import Span
from agent.records import Signal, Throughput
from agent.report.steps import Steps, both, steps
from agent.throughput import WINDOW_SHARE, uplink_capacity_mbps, window_limit_mbps

# Headers of Ethernet, IP and TCP take about a twentieth, the start of a test as much (common practice).
TEST_SHARE = 0.9


@dataclass(frozen=True, slots=True, kw_only=True)
class Availability:
    """How long (s) the booked rates were there, of the time for which that is known, of the whole span."""

    good_s: float
    known_s: float
    span_s: float
    below: tuple[Span, ...]

    @property
    def percent(self) -> float:
        """Share of the known time; NaN where nothing is known."""
        return 100.0 * self.good_s / self.known_s if self.known_s > 0.0 else nan

    @property
    def known_percent(self) -> float:
        """Share of the whole span for which something is known."""
        return 100.0 * self.known_s / self.span_s

    @property
    def longest_below_s(self) -> float:
        """The longest unbroken time below (s), 0 where there was none, NaN where nothing is known."""
        if isnan(self.percent):
            return nan
        return max((one.end_unix_s - one.start_unix_s for one in self.below), default=0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Availabilities:
    """By the signal, by the tests, and by both at once; with the number of tests behind it."""

    signal: Availability
    tests: Availability
    both: Availability
    tests_judged: int
    tests_good: int
    tests_window_limited: int


def availabilities(
    signals: Sequence[Signal], tests: Sequence[Throughput], plan: LinkPlan, service: Service, span: Span
) -> Availabilities:
    """Count over `span`; `signals` and `tests` in the order of time, passive tests say nothing here."""
    signal_steps = signal_course(signals, plan, span)
    measured = capacity_tests(tests)
    judged = [(test, good) for test in measured if (good := carries(test, service)) is not None]
    test_steps = steps([test.unix_s for test, _ in judged], [good for _, good in judged], span)
    within = [good for test, good in judged if span.contains(test.unix_s)]
    return Availabilities(
        signal=_counted(signal_steps, span),
        tests=_counted(test_steps, span),
        both=_counted(both(signal_steps, test_steps), span),
        tests_judged=len(within),
        tests_good=sum(within),
        tests_window_limited=sum(window_limited(test) for test in measured if span.contains(test.unix_s)),
    )


def _counted(course: Steps, span: Span) -> Availability:
    return Availability(
        good_s=course.good_s,
        known_s=course.known_s,
        span_s=span.end_unix_s - span.start_unix_s,
        below=course.bad_spans(),
    )


def signal_course(signals: Sequence[Signal], plan: LinkPlan, span: Span) -> Steps:
    """Whether the measured Es/N0 of every reported direction is what the booked rate needs by the plan."""
    answers = [(one.unix_s, good) for one in signals if (good := carries_rate(one, plan)) is not None]
    return steps([unix_s for unix_s, _ in answers], [good for _, good in answers], span)


def carries_rate(signal: Signal, plan: LinkPlan) -> bool | None:
    """Whether this reading carries the booked rates; None where reading or plan do not say."""
    if signal.locked is False:
        return False
    if signal.esno_db is None or isnan(plan.downlink.required_esno_db):
        return None
    if signal.uplink_esno_db is None:
        return signal.esno_db >= plan.downlink.required_esno_db
    if isnan(plan.uplink.required_esno_db):
        return None
    return (
        signal.esno_db >= plan.downlink.required_esno_db
        and signal.uplink_esno_db >= plan.uplink.required_esno_db
    )


def capacity_tests(tests: Sequence[Throughput]) -> list[Throughput]:
    """The tests that fill the link; what a passive meter saw is use, not capacity."""
    return [test for test in tests if test.method != "passive"]


def window_limited(test: Throughput) -> bool:
    """Whether the test measured its own TCP window."""
    limit_mbps = window_limit_mbps(test)
    return (
        limit_mbps is not None and test.down_mbps is not None and test.down_mbps >= WINDOW_SHARE * limit_mbps
    )


def carries(test: Throughput, service: Service) -> bool | None:
    """Whether each direction that was tested reached its booked rate; None for a window-limited test."""
    pairs = ((test.down_mbps, service.down_mbps), (uplink_capacity_mbps(test), service.up_mbps))
    good = all(rate is None or rate >= TEST_SHARE * booked for rate, booked in pairs)
    return None if not good and window_limited(test) else good
