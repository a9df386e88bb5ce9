"""Every figure of a review under a name of its own: for the tables, the files and the comparison of days."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isnan, nan

import numpy as np

from agent.report.availability import Availability
from agent.report.balance import UnitHeat
from agent.report.levels import PERCENTS, Distribution
from agent.report.review import Review
from agent.report.words import bytes_text, number, percent, span


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure; its key ends in its unit. `value` is NaN where it was not measured."""

    key: str
    name: str
    value: float
    text: str


def figures(review: Review) -> tuple[Figure, ...]:
    """All figures of one day, in the order of the report."""
    return tuple(figure for source in _SOURCES for figure in source(review))


def compared(review: Review) -> tuple[Figure, ...]:
    """Those by which days are compared."""
    found = {figure.key: figure for figure in figures(review)}
    return tuple(found[key] for key in COMPARED)


COMPARED = (
    "both_percent", "signal_percent", "tests_percent", "both_longest_below_s", "down_over_plan_db",
    "up_over_plan_db", "headroom_mbps", "unshaded_s", "transmitter_margin_k", "alerts", "alert_s",
    "response_median_s", "bytes_used", "counted_bytes", "allowance_share_percent",
)  # fmt: skip


def _percent(key: str, name: str, value: float) -> Figure:
    return Figure(key, name, value, percent(value))


def _span(key: str, name: str, value: float) -> Figure:
    return Figure(key, name, value, span(value))


def _number(key: str, name: str, value: float, digits: int, unit: str) -> Figure:
    return Figure(key, name, value, number(value, digits, unit))


def _difference(key: str, name: str, value: float, digits: int, unit: str) -> Figure:
    return Figure(key, name, value, number(value, digits, unit, signed=True))


def _count(key: str, name: str, value: int) -> Figure:
    return Figure(key, name, float(value), str(value))


def _availability(review: Review) -> Iterator[Figure]:
    found = review.availability
    yield _span("reviewed_s", "Hours reviewed", review.length_s)
    yield from _one_availability("both", "signal and tests", found.both)
    yield from _one_availability("signal", "signal", found.signal)
    yield from _one_availability("tests", "tests", found.tests)
    yield _count("tests_judged", "Tests that were judged", found.tests_judged)
    yield _count("tests_good", "Tests at the booked rates", found.tests_good)


def _one_availability(key: str, name: str, found: Availability) -> Iterator[Figure]:
    yield _percent(f"{key}_percent", f"Booked rates there, by {name}", found.percent)
    yield _percent(f"{key}_known_percent", f"Known share of the hours, {name}", found.known_percent)
    yield _span(f"{key}_longest_below_s", f"Longest time below, by {name}", found.longest_below_s)


def _levels(review: Review) -> Iterator[Figure]:
    for one in (review.down, review.up):
        yield from _distribution(one)


def _distribution(one: Distribution) -> Iterator[Figure]:
    way = f"{one.direction.capitalize()}link Es/N0"
    yield _number(f"{one.direction}_plan_db", f"{way}, planned in clear sky", one.plan_db, 1, "dB")
    yield _number(
        f"{one.direction}_needed_db", f"{way}, needed for the booked rate", one.required_db, 1, "dB"
    )
    yield _number(f"{one.direction}_median_db", f"{way}, median", one.median_db, 1, "dB")
    yield _difference(
        f"{one.direction}_over_plan_db", f"{way}, median against plan", one.over_plan_db, 1, "dB"
    )
    yield _difference(f"{one.direction}_margin_db", f"{way}, median against need", one.margin_db, 1, "dB")
    for share, value in zip(PERCENTS, one.percentiles_db, strict=True):
        yield _number(f"{one.direction}_p{share:g}_db", f"{way}, {share:g} % lie below", value, 1, "dB")
    yield _number(f"{one.direction}_lowest_db", f"{way}, lowest", one.lowest_db, 1, "dB")


def _rates(review: Review) -> Iterator[Figure]:
    rates = review.rates
    yield _count("tests", "Throughput tests", rates.tests)
    yield _number("down_mbps", "Down, median of the tests", rates.down_mbps, 2, "Mbit/s")
    yield _number("down_lowest_mbps", "Down, lowest test", rates.lowest_down_mbps, 2, "Mbit/s")
    yield _number("up_mbps", "Up, median of the tests", rates.up_mbps, 2, "Mbit/s")
    yield _number("up_lowest_mbps", "Up, lowest test", rates.lowest_up_mbps, 2, "Mbit/s")
    yield _number("up_weak_mbps", "Up, a tenth of the tests lies below", rates.weak_up_mbps, 2, "Mbit/s")
    yield _number("stream_mbps", "Stream", rates.stream_mbps, 2, "Mbit/s")
    yield _number("stream_need_mbps", "Stream with its peaks", rates.need_mbps, 2, "Mbit/s")
    yield _difference("headroom_mbps", "Headroom of the stream", rates.headroom_mbps, 2, "Mbit/s")
    short = rates.tests_short if not isnan(rates.up_mbps) else nan
    yield _number("tests_short", "Tests that would not have carried the stream", short, 0, "")
    yield _number("rtt_ms", "Round-trip time, median", rates.rtt_ms, 0, "ms")
    yield _number("loss_percent", "Packet loss, median", rates.loss_percent, 1, "%")
    yield Figure("bytes_used", "Data used by tests", rates.bytes_used, bytes_text(rates.bytes_used))
    counted = review.data.counted_bytes
    yield Figure("counted_bytes", "All data, by the terminal's counters", counted, bytes_text(counted))
    yield _percent("allowance_share_percent", "Share of the data booked", review.data.share_percent)
    yield _percent("bytes_share_percent", "Their share of what the booked rates carry", rates.share_percent)


def _heat(review: Review) -> Iterator[Figure]:
    balance = review.balance
    yield _span("unshaded_s", "Sunshine on the bare transmitter", balance.unshaded_s)
    yield _span("shaded_s", "Sunshine kept off it by shade", balance.shaded_s)
    yield from _unit(balance.transmitter)
    yield from _unit(balance.modem)
    yield _number("air_peak_degc", "Air, highest", balance.air.peak_degc, 1, "°C")
    yield _number("air_median_degc", "Air, median", balance.air.median_degc, 1, "°C")


def _unit(one: UnitHeat) -> Iterator[Figure]:
    name = one.where.capitalize()
    yield _number(f"{one.where}_peak_degc", f"{name}, highest", one.peak_degc, 1, "°C")
    yield _difference(f"{one.where}_margin_k", f"{name}, room to its limit", one.margin_k, 1, "°C")
    yield _span(f"{one.where}_near_s", f"{name} within 5 °C of its limit or over", one.near_s)
    yield _span(f"{one.where}_over_s", f"{name} over its limit", one.over_s)


def _alerts(review: Review) -> Iterator[Figure]:
    answers = [one.response_s for one in review.episodes if not isnan(one.response_s)]
    lasted_s = [one.lasted_s(review.span.end_unix_s) for one in review.episodes]
    yield _count("alerts", "Alerts", len(review.episodes))
    yield _span("alert_s", "Time of all alerts together", sum(lasted_s))
    yield _count("alerts_answered", "Alerts that the crew answered", len(answers))
    median_s = float(np.median(answers)) if answers else nan
    slowest_s = max(answers, default=nan)
    none = "none on record"
    yield Figure(
        "response_median_s", "The crew's answer, median", median_s, span(median_s) if answers else none
    )
    yield Figure(
        "response_longest_s", "The crew's answer, slowest", slowest_s, span(slowest_s) if answers else none
    )


_SOURCES = (_availability, _levels, _rates, _heat, _alerts)
