"""What to change next time: sentences with the numbers that led to them, the weightiest first."""

from collections.abc import Iterator
from math import isnan

from agent.report.balance import NEAR_LIMIT_K
from agent.report.levels import Distribution
from agent.report.review import Review
from agent.report.words import bytes_text, counted, number, percent, span, times
from agent.watch.heat_watch import UNITS
from agent.watch.reference import PLAN_AGREES_DB
from agent.watch.rule_set import default_rules
from agent.watch.rules import in_words

# The shade rule's: up to here in the sun is no concern, nor is it where a thermometer stayed this far off.
SUN_FINE_S = float(default_rules().values["shade.advise_after_s"][0])
OUTVOTING_MARGIN_K = float(default_rules().values["shade.exposure_margin_degc"][0])
# The crew has other work; what is to be done at once and stands longer than this was not seen (judgement).
SLOW_RESPONSE_S = 600.0
# Tests that take more than a twentieth of what was paid for are worth a word (judgement).
TESTS_SHARE_PERCENT = 5.0
# A peaking that begins this soon belongs to the set-up.
SET_UP_S = 1800.0
GAP_S = 900.0
SHADE_HELPS_K = 1.0


def findings(review: Review) -> tuple[str, ...]:
    """The sentences; none where the measured day gives no reason to change anything."""
    return tuple(sentence for source in _SOURCES for sentence in source(review))


def _heat(review: Review) -> Iterator[str]:
    heat, unshaded_s = review.balance.transmitter, review.balance.unshaded_s
    known = not isnan(heat.peak_degc)
    near = known and heat.margin_k < NEAR_LIMIT_K
    exposed = unshaded_s >= SUN_FINE_S and not (known and heat.margin_k >= OUTVOTING_MARGIN_K)
    if not near and not exposed:
        return
    words = f"Shade the transmitter from the start: it stood {span(unshaded_s)} in sunshine without shade"
    if not exposed:
        words = f"Give the transmitter more air, or less power: only {span(unshaded_s)} of sun was on it"
    if known:
        side = "below" if heat.margin_k >= 0.0 else "over"
        words += (
            f" and it reached {number(heat.peak_degc)} °C at {review.clock.with_utc(heat.peak_unix_s)}, "
            f"{number(abs(heat.margin_k))} °C {side} its limit"
        )
    yield f"{words}.{_shade_won(review)}"


def _shade_won(review: Review) -> str:
    won = [one for one in review.actions if one.kind == "shade-on" and one.where in ("", UNITS[0])]
    if not won or isnan(won[0].change) or won[0].change > -SHADE_HELPS_K:
        return ""
    return (
        f" The shade put up at {review.clock.clock(won[0].start_unix_s)} took {number(-won[0].change)} °C "
        "off it within half an hour."
    )


def _aim(review: Review) -> Iterator[str]:
    lost = [one for one in review.episodes if one.rule == "repeak"]
    if lost:
        total_s = sum(one.lasted_s(review.span.end_unix_s) for one in lost)
        won = [
            deed.change
            for one in lost
            for deed in one.actions
            if deed.unit == "dB" and not isnan(deed.change)
        ]
        effect = f"; the re-peak won {number(max(won))} dB" if won else ""
        yield (
            f"Ballast and tighten the dish before the job: it lost its aim {times(len(lost))} and "
            f"stood so for {span(total_s)}{effect}."
        )


def _set_up(review: Review) -> Iterator[str]:
    first = next((one for one in review.actions if one.kind == "peak-start"), None)
    if first is not None and first.start_unix_s - review.span.start_unix_s < SET_UP_S:
        late_s = first.end_unix_s - review.span.start_unix_s
        yield (
            f"Be peaked before the booked hours begin: the dish was ready {span(late_s)} into them, at "
            f"{review.clock.with_utc(first.end_unix_s)}."
        )


def _levels(review: Review) -> Iterator[str]:
    for one in (review.down, review.up):
        if one.over_plan_db >= PLAN_AGREES_DB:
            yield (
                f"Correct the plan of the {one.direction}link: its median of {number(one.median_db)} dB is "
                f"{number(one.over_plan_db)} dB above it; ask the operator for the carrier's EIRP or G/T."
            )
        elif one.over_plan_db <= -PLAN_AGREES_DB:
            yield (
                f"Find what the {one.direction}link lacks: its median of {number(one.median_db)} dB is "
                f"{number(-one.over_plan_db)} dB below the plan's clear sky; {_where_to_look(one, review)}."
            )


def _where_to_look(low: Distribution, review: Review) -> str:
    hot = review.balance.transmitter.margin_k < NEAR_LIMIT_K
    if low.direction == "up" and hot and review.down.over_plan_db > -PLAN_AGREES_DB:
        return "the downlink's is not, so look first at the hot transmitter, which cuts its power"
    return "look at peaking, polarisation, connectors and obstructions"


def _headroom(review: Review) -> Iterator[str]:
    rates = review.rates
    if rates.headroom_mbps < 0.0:
        bearable, stream = number(rates.bearable_mbps), number(rates.stream_mbps)
        yield (
            f"Stream at {bearable} instead of {stream} Mbit/s, or book more: a tenth of the tests carried "
            f"less than {number(rates.weak_up_mbps, 2)} Mbit/s up, and the stream with its peaks needs "
            f"{number(rates.need_mbps, 2)}."
        )


def _response(review: Review) -> Iterator[str]:
    serious = [one for one in review.episodes if one.severity != "advise"]
    silent = [
        one
        for one in serious
        if isnan(one.response_s) and one.lasted_s(review.span.end_unix_s) > SLOW_RESPONSE_S
    ]
    slow = [one for one in serious if one.response_s > SLOW_RESPONSE_S]
    if slow:
        worst = max(slow, key=lambda one: one.response_s)
        yield (
            f"Decide who watches the page: the crew answered {in_words(worst.rule)} of "
            f"{review.clock.with_utc(worst.start_unix_s)} after {span(worst.response_s)}."
        )
    if silent:
        names = ", ".join(f"{in_words(one.rule)} at {review.clock.clock(one.start_unix_s)}" for one in silent)
        yield f"Acknowledge alerts and note what was done: no answer is on record for {names}."


# What to do about causes outside of dish and transmitter, for the time under their alerts.
_REMEDIES = {
    "wait-rain": "Plan more margin or a lower stream for showers: rain took the signal for {span}",
    "blockage": "Fence off the front of the dish or move it: something stood in the beam for {span}",
    "look-at-lan": "Check cables and switch before the job: the local network cost rate for {span}",
    "call-network": "Ask the operator what happened from {first} on: the network took rate for {span}",
    "on-battery": "See why the supply failed: the terminal ran on battery for {span}",
}


def _causes(review: Review) -> Iterator[str]:
    for rule, words in _REMEDIES.items():
        found = [one for one in review.episodes if one.rule == rule]
        if found:
            total_s = sum(one.lasted_s(review.span.end_unix_s) for one in found)
            first = review.clock.with_utc(found[0].start_unix_s)
            yield f"{words.format(span=span(total_s), first=first)} ({counted(len(found), 'alert')})."


def _testing(review: Review) -> Iterator[str]:
    rates = review.rates
    if rates.share_percent > TESTS_SHARE_PERCENT:
        yield (
            f"Test less often or shorter: {counted(rates.tests, 'test')} took "
            f"{bytes_text(rates.bytes_used)}, {percent(rates.share_percent)} of what the booked "
            "rates carry in these hours."
        )


def _inputs(review: Review) -> Iterator[str]:
    for one in review.coverage:
        if one.readings and one.longest_gap_s > GAP_S and not one.name.startswith("throughput"):
            yield f"See why {one.name} fell silent: its longest gap was {span(one.longest_gap_s)}."
        if one.clock_refused:
            yield (
                f"Set the clock of what publishes {one.name}: "
                f"{counted(one.clock_refused, 'reading')} carried a wrong time."
            )
    blind = [one.name for one in review.coverage if not one.readings and one.name != "power"]
    if blind:
        yield f"Measure {', '.join(blind)} as well: without it the figures that need it stay unknown."


_SOURCES = (
    _heat, _aim, _headroom, _causes, _response, _set_up, _levels, _testing, _inputs,
)  # fmt: skip
