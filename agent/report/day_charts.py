"""The charts of one day, and the small ones that compare days."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from math import floor, isfinite, nan
from operator import attrgetter

from agent.plan.span import Span
from agent.records import Severity, Signal, Throughput
from agent.report.availability import capacity_tests
from agent.report.balance import HOUR_S
from agent.report.charts import (
    PLANNED_DASH,
    Axis,
    Bars,
    Level,
    Line,
    Strip,
    bar_chart,
    line_chart,
    ticks,
    time_table,
)
from agent.report.levels import BIN_DB, Distribution, minute_medians
from agent.report.review import Review
from agent.report.svg import BLUE, GREEN, OCHRE, QUIET, RED, VIOLET
from agent.throughput import uplink_capacity_mbps

MOST_CLOCK_TICKS = 6
HOUR_STEPS = (1, 2, 3, 4, 6, 12, 24)
SEVERITY_COLOURS: dict[Severity, str] = {"advise": OCHRE, "act": RED, "urgent": "#4a0d2b"}
SUN_STRIPE = "sun pass"
SHADED = "shaded"
SMALL = 130.0
UNSEEN = "none"  # a level that only widens the scale


def clock_axis(span: Span, review: Review) -> Axis:
    """Full hours of the site's clock, at most six of them."""
    zone = review.clock.zone
    hours = (span.end_unix_s - span.start_unix_s) / HOUR_S
    step = next((one for one in HOUR_STEPS if hours / one <= MOST_CLOCK_TICKS), HOUR_STEPS[-1])
    first = datetime.fromtimestamp(span.start_unix_s, zone).replace(hour=0, minute=0, second=0, microsecond=0)
    count = floor(hours / step) + 26
    moments = (first + timedelta(hours=step * index) for index in range(count))
    inside = [one for one in moments if span.start_unix_s <= one.timestamp() <= span.end_unix_s]
    return Axis(
        span.start_unix_s, span.end_unix_s, [(one.timestamp(), one.strftime("%H:%M")) for one in inside]
    )


def signal_chart(review: Review) -> str:
    """Es/N0 of both directions by the minute, against plan and need; the passes of the sun behind.

    Where the modem reports no Es/N0, its C/N or its quality figure, which have no plan to stand beside.
    """
    axis = clock_axis(review.span, review)
    passes = [Strip(one.start_unix_s, one.end_unix_s, SUN_STRIPE) for one in review.plan.sun_passes]
    lines = [_down_line(review), _signal_line(review, "up", attrgetter("uplink_esno_db"), VIOLET)]
    levels: list[Level] = []
    if review.down.count:
        levels += [Level("plan", review.down.plan_db, QUIET, PLANNED_DASH)]
        levels += [Level("needs", review.down.required_db, BLUE)]
    if review.up.count:
        levels += [Level("", review.up.plan_db, QUIET, PLANNED_DASH)]
        levels += [Level("needs up", review.up.required_db, VIOLET)]
    return line_chart(f"{signal_measure(review)} over the day", axis, lines, levels, passes)


def signal_measure(review: Review) -> str:
    """What the modem reports of the carrier, with its unit."""
    return _measure(review)[0]


def _measure(review: Review) -> tuple[str, str]:
    """Name and field of the best figure that the modem reports."""
    signals = [one for one in review.readings if isinstance(one, Signal)]
    if any(one.esno_db is not None for one in signals):
        return "Es/N0 (dB)", "esno_db"
    if any(one.cn_db is not None for one in signals):
        return "C/N (dB)", "cn_db"
    return "Quality (%)", "quality_percent"


def _down_line(review: Review) -> Line:
    return _signal_line(review, "down", attrgetter(_measure(review)[1]), BLUE)


def _signal_line(review: Review, name: str, value_of: Callable[[Signal], float | None], colour: str) -> Line:
    signals = [one for one in review.readings if isinstance(one, Signal) and one.locked is not False]
    times, values = minute_medians(signals, value_of)
    return Line(name, times, values, colour, "" if name == "down" else "2 1")


def distribution_chart(distribution: Distribution, colour: str) -> str:
    """Share of the readings in each half decibel, with plan and need; the lowest hundredth is one bar."""
    if not distribution.count:
        return ""
    first = max(distribution.first_bin_db, BIN_DB * floor(distribution.percentiles_db[0] / BIN_DB) - BIN_DB)
    skipped = round((first - distribution.first_bin_db) / BIN_DB)
    shares = [100.0 * share for share in distribution.shares[skipped:]]
    shares[0] += 100.0 * sum(distribution.shares[:skipped])
    starts = [first + BIN_DB * index for index in range(len(shares))]
    known = [starts[0], starts[-1] + BIN_DB, distribution.plan_db, distribution.required_db]
    low, high = min(filter(isfinite, known)) - BIN_DB, max(filter(isfinite, known)) + BIN_DB
    places = [value for value in ticks(low, high, 8) if low <= value <= high]
    axis = Axis(low, high, [(value, f"{value:g}") for value in places])
    marks = [
        Strip(value, value, word, ink)
        for word, value, ink in (
            ("plan", distribution.plan_db, QUIET),
            ("needed", distribution.required_db, RED),
        )
        if isfinite(value)
    ]
    bars = Bars("% of readings", starts, BIN_DB, shares, colour)
    title = f"Distribution of the {distribution.direction}link's Es/N0: percent of the readings over dB"
    return bar_chart(title, axis, [bars], marks)


def rate_chart(review: Review) -> str:
    """Every test of both directions, with what was booked and what the stream needs."""
    tests = capacity_tests([one for one in review.readings if isinstance(one, Throughput)])
    times = [one.unix_s for one in tests]
    down = [nan if one.down_mbps is None else one.down_mbps for one in tests]
    up = [nan if (rate := uplink_capacity_mbps(one)) is None else rate for one in tests]
    service = review.job.service
    booked = [Level("booked", service.down_mbps, QUIET, PLANNED_DASH)]
    if service.up_mbps != service.down_mbps:
        booked = [
            Level("booked down", service.down_mbps, BLUE, PLANNED_DASH),
            Level("booked up", service.up_mbps, VIOLET, PLANNED_DASH),
        ]
    return line_chart(
        "Rates of the tests, in Mbit/s",
        clock_axis(review.span, review),
        [Line("down", times, down, BLUE), Line("up", times, up, VIOLET, "2 1")],
        [*booked, Level("stream needs", review.rates.need_mbps, RED), Level("", 0.0, QUIET)],
    )


def heat_chart(review: Review) -> str:
    """Transmitter, modem and air against the limits; the shaded hours behind."""
    course = review.course
    lines = [
        Line("transmitter", course.unix_s, course.line("transmitter_degc"), RED),
        Line("modem", course.unix_s, course.line("modem_degc"), BLUE, "6 2"),
        Line("air", course.unix_s, course.line("air_degc"), GREEN, "2 1"),
    ]
    limit = Level("limit", review.job.transmitter.limit_degc, RED)
    axis = clock_axis(review.span, review)
    return line_chart("Temperatures, in °C", axis, lines, [limit], _shaded_strips(review))


def _shaded_strips(review: Review) -> list[Strip]:
    strips: list[Strip] = []
    start: float | None = None
    for unix_s, shaded in zip(review.course.unix_s, review.course.line("transmitter_shaded"), strict=True):
        if shaded == 1.0 and start is None:
            start = unix_s
        elif shaded != 1.0 and start is not None:
            strips.append(Strip(start, unix_s, SHADED))
            start = None
    if start is not None:
        strips.append(Strip(start, review.course.unix_s[-1], SHADED))
    return strips


def sun_chart(review: Review) -> str:
    """Minutes of sunshine in every hour, on the bare transmitter and kept off it."""
    hours = review.balance.hours
    starts = [hour.start_unix_s for hour in hours]
    whole = Span(starts[0], starts[-1] + HOUR_S)
    bars = [
        Bars("min in the sun", starts, HOUR_S, [hour.unshaded_min for hour in hours], OCHRE),
        Bars("min shaded", starts, HOUR_S, [hour.shaded_min for hour in hours], "#c9d3c2"),
    ]
    return bar_chart("Sunshine in every hour, in minutes", clock_axis(whole, review), bars)


def alert_chart(review: Review) -> str:
    """When each alert stood, one row a rule."""
    end = review.span.end_unix_s
    rows: dict[str, list[Strip]] = {}
    for one in review.episodes:
        stood = Strip(
            max(one.start_unix_s, review.span.start_unix_s),
            end if one.end_unix_s is None else min(one.end_unix_s, end),
            colour=SEVERITY_COLOURS[one.severity],
        )
        rows.setdefault(one.rule, []).append(stood)
    axis = clock_axis(review.span, review)
    return time_table("When each alert stood", axis, list(rows.items()), list(SEVERITY_COLOURS.items()))


def small_signal_chart(review: Review, reviews: Sequence[Review]) -> str:
    """The downlink of one day as the modem reports it; days with Es/N0 share a scale."""
    axis = clock_axis(review.span, review)
    title = f"{signal_measure(review)} of {review.clock.iso_date()}"
    line = _down_line(review)
    if not review.down.count:
        return line_chart(title, axis, [line], height=SMALL)
    measured = [one.down for one in reviews if one.down.count]
    lowest = min(one.percentiles_db[0] for one in measured)
    levels = [
        Level("plan", review.down.plan_db, QUIET, PLANNED_DASH),
        Level("", lowest, UNSEEN),
        Level("", max(one.highest_db for one in measured), UNSEEN),
    ]
    shown = replace(line, y=[value if value >= lowest else nan for value in line.y])
    return line_chart(title, axis, [shown], levels, height=SMALL)


def small_heat_chart(review: Review, reviews: Sequence[Review]) -> str:
    """The transmitter's temperature of one day, on the scale that all days share."""
    courses = [one.course.line("transmitter_degc") for one in reviews]
    known = [value for course in courses for value in course if isfinite(value)]
    known += [one.job.transmitter.limit_degc for one in reviews]
    levels = [
        Level("limit", review.job.transmitter.limit_degc, RED),
        Level("", min(known), UNSEEN),
        Level("", max(known), UNSEEN),
    ]
    line = Line("transmitter", review.course.unix_s, review.course.line("transmitter_degc"), RED)
    title = f"Transmitter on {review.clock.iso_date()}, in °C"
    return line_chart(title, clock_axis(review.span, review), [line], levels, height=SMALL)
