"""The review in ten lines of text, for a message to whoever pays."""

from collections.abc import Sequence
from math import isnan

from agent.report.data_used import DataUsed
from agent.report.findings import findings
from agent.report.review import Review
from agent.report.verdict import verdict
from agent.report.words import bytes_text, counted, number, percent

LONGEST = 10
PROVENANCES = {
    "invented": "Invented data: no such day.",
    "recorded": "From recorded data, by peakshade.",
    "stored": "From what the agent stored, by peakshade.",
}


def summary(reviews: Sequence[Review]) -> tuple[str, ...]:
    """At most ten lines; of many days the latest have a line of their own."""
    return _one_day(reviews[0]) if len(reviews) == 1 else _days(reviews)


def _one_day(review: Review) -> tuple[str, ...]:
    clock, heat = review.clock, review.balance.transmitter
    delivered, happened, change = verdict(review, findings(review))
    hours = f"{clock.clock(review.span.start_unix_s)} to {clock.clock(review.span.end_unix_s)}"
    limit = number(review.job.transmitter.limit_degc, 0, "°C")
    return (
        f"{review.title}: {clock.date()}, {hours} at the site.",
        f"Terminal {review.job.terminal}, satellite {review.job.satellite.name}.",
        delivered,
        f"Signal: {number(review.down.median_db, 1, 'dB')}, planned {number(review.down.plan_db, 1, 'dB')}.",
        _stream(review),
        happened,
        f"Transmitter at most {number(heat.peak_degc, 0, '°C')}; its limit is {limit}.",
        _data([review]),
        f"Next time: {change}",
        PROVENANCES[review.provenance],
    )


def _stream(review: Review) -> str:
    rates = review.rates
    if isnan(rates.weak_up_mbps):
        return f"Stream: {number(rates.stream_mbps, 1, 'Mbit/s')}; the uplink was not tested."
    weak = number(rates.weak_up_mbps, 1, "Mbit/s")
    return f"Stream: needs {number(rates.need_mbps, 1, 'Mbit/s')}; nine in ten tests carried {weak} or more."


def _days(reviews: Sequence[Review]) -> tuple[str, ...]:
    first, last = reviews[0], reviews[-1]
    alerts = sum(len(one.episodes) for one in reviews)
    head = (
        f"{counted(len(reviews), 'day')} of {last.job.terminal}, {first.clock.date()} to {last.clock.date()}."
    )
    foot = (
        f"{counted(alerts, 'alert')} together.",
        _data(reviews),
        PROVENANCES[last.provenance],
    )
    room = LONGEST - len(foot) - 1
    shown = reviews[-room:]
    days = [f"{one.clock.iso_date()}: {verdict(one, ())[0]}" for one in shown]
    return (head, *days, *foot)


def _data(reviews: Sequence[Review]) -> str:
    """What was used of the booking; where counters were not read, what is known of it."""
    known: list[DataUsed] = [one.data for one in reviews if not isnan(one.data.counted_bytes)]
    allowance = reviews[-1].data.allowance_bytes
    booked = "" if allowance is None else f" of the {bytes_text(allowance)} booked"
    if not known:
        tests = sum(one.rates.bytes_used for one in reviews)
        return f"Data used{booked}: not measured; the tests took {bytes_text(tests)}."
    used = sum(one.counted_bytes for one in known)
    share = "" if allowance is None else f" ({percent(100.0 * used / allowance)})"
    covered = sum(one.known_percent for one in known) / len(reviews)
    return f"Data used: {bytes_text(used)}{booked}{share}, counted over {percent(covered, 0)} of the time."
