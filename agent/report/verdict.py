"""The day in three lines: what was delivered, what happened, what to change first."""

from collections.abc import Sequence
from math import isnan

import numpy as np

from agent.report.review import Review
from agent.report.words import NOT_MEASURED, counted, percent, span
from agent.watch.rule_stage import SEVERITIES
from agent.watch.rules import in_words


def verdict(review: Review, findings: Sequence[str]) -> tuple[str, str, str]:
    """The three lines; `findings` as found for the same review."""
    first = findings[0] if findings else "Nothing in these figures asks for a change."
    return _delivered(review), _happened(review), first


def _delivered(review: Review) -> str:
    found, planned = review.availability, review.job.service.availability_percent
    shares = {"signal": found.signal.percent, "throughput tests": found.tests.percent}
    known = [f"{name} {percent(value)}" for name, value in shares.items() if not isnan(value)]
    words = f"Booked rates ({_booked(review)})"
    if len(known) < len(shares):
        missing = [name for name, value in shares.items() if isnan(value)]
        what = f"there by the {known[0]} of the time" if known else NOT_MEASURED
        return f"{words}: {what}; {' and '.join(missing)} {NOT_MEASURED}."
    side = "at least" if found.both.percent >= planned else "less than"
    return (
        f"{words} there for {percent(found.both.percent)} of the measured time ({', '.join(known)}): {side} "
        f"the {planned:g} % planned over a year."
    )


def _booked(review: Review) -> str:
    service = review.job.service
    return f"{service.down_mbps:g} down, {service.up_mbps:g} up Mbit/s"


def _happened(review: Review) -> str:
    if not review.episodes:
        return f"No alert in {span(review.length_s)}."
    worst = max(review.episodes, key=lambda one: SEVERITIES.index(one.severity))
    longest = max(review.episodes, key=lambda one: one.lasted_s(review.span.end_unix_s))
    answers = [one.response_s for one in review.episodes if not isnan(one.response_s)]
    answered = "no answer of the crew is on record"
    if answers:
        how_soon = "half within" if len(answers) > 1 else "after"
        answered = f"the crew answered {len(answers)}, {how_soon} {span(float(np.median(answers)))}"
    lasted = span(longest.lasted_s(review.span.end_unix_s))
    return (
        f"{counted(len(review.episodes), 'alert')}, the gravest {in_words(worst.rule)} ({worst.severity}), "
        f"the longest {in_words(longest.rule)} ({lasted}); {answered}."
    )
