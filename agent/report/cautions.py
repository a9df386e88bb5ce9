"""What to bear in mind: what the figures of this day do not say, and who may get hurt acting on them."""

from collections.abc import Iterator
from math import isnan

from agent.report.review import Review
from agent.report.words import counted, percent

FEW_TESTS = 10
COVERED_PERCENT = 90.0


def cautions(review: Review) -> tuple[str, ...]:
    """Limits of this day's figures."""
    return tuple(sentence for source in (_origin, _signal, _tests, _heat) for sentence in source(review))


def safety(review: Review) -> tuple[str, ...]:
    """The plan's cautions for the crew: they hold for every change that this report proposes."""
    return review.plan.safety.cautions


def _origin(review: Review) -> Iterator[str]:
    if review.provenance == "invented":
        yield "These data are invented: no such site, satellite, terminal or day."
    yield "The planned availability is that of an average year; one day neither keeps nor breaks it."


def _signal(review: Review) -> Iterator[str]:
    signal = review.availability.signal
    if not review.down.count:
        yield ("The modem reports no Es/N0: no figure against the plan, and no availability by the signal.")
    elif isnan(signal.percent):
        yield "No MODCOD of the plan carries the booked rate: availability by the signal is not defined."
    elif signal.known_percent < COVERED_PERCENT:
        yield f"The signal is known for {percent(signal.known_percent)} of the hours only."
    if review.down.count and not review.up.count:
        yield "The modem reports no uplink Es/N0: availability by the signal is that of the downlink alone."


def _tests(review: Review) -> Iterator[str]:
    found = review.availability
    if not review.rates.tests:
        yield "No throughput test was made: rates, headroom and availability by tests are not measured."
        return
    if found.tests_judged < FEW_TESTS:
        yield f"Only {counted(found.tests_judged, 'test')} stand behind the availability by tests."
    if found.tests.known_percent < COVERED_PERCENT:
        yield f"The tests stand for {percent(found.tests.known_percent)} of the hours only."
    if found.tests_window_limited:
        yield (
            f"{counted(found.tests_window_limited, 'test')} ran into the TCP window: below the booked "
            "rate they say nothing of the link and are not counted."
        )
    untold = review.rates.tests - review.rates.tests_with_bytes
    if untold:
        yield f"{counted(untold, 'test')} did not tell the bytes used: the data used are more than the sum."


def _heat(review: Review) -> Iterator[str]:
    if not review.balance.sky_measured:
        yield "Nobody reported cloud or irradiance: sunshine is that of a clear sky, the most there can be."
    silent = [one.where for one in (review.balance.transmitter, review.balance.modem) if isnan(one.peak_degc)]
    if silent:
        yield f"No thermometer on the {' and the '.join(silent)}."
