"""How the figures were made and how far they go, in words."""

from collections.abc import Iterator

from agent.report.actions import SETTLE_S, SHADE_AFTER_S, WINDOW_S
from agent.report.availability import TEST_SHARE
from agent.report.review import Review
from agent.report.words import number, span
from agent.throughput import HEADROOM_PERCENT, STREAM_ALLOWANCE


def definitions(review: Review) -> Iterator[str]:
    """What availability means here."""
    service = review.job.service
    down, up = number(review.down.required_db, 1, "dB"), number(review.up.required_db, 1, "dB")
    booked = f"{service.down_mbps:g} down, {service.up_mbps:g} up Mbit/s"
    yield (
        "By the signal: the modem is locked and reports at least the Es/N0 that the booked rates need by the "
        f"plan ({down} down, {up} up)."
    )
    yield (
        "By the tests: a test, with the stream that ran beside it, reached "
        f"{100.0 * TEST_SHARE:.0f} % of each booked rate ({booked}); headers take about a twentieth, the "
        "start of a test as much."
    )
    yield (
        "A reading stands until the next one, for three of its usual intervals at most; what lies beyond is "
        "not known and counts neither way. Both at once: there where both say so, below where either does."
    )


def method(review: Review, rules_digest: str, version: str) -> Iterator[str]:
    """How the rest was made, and with which rules and program."""
    window, settle, later = span(WINDOW_S), span(SETTLE_S), span(SHADE_AFTER_S)
    yield f"{_alerts(review)} Advice and evidence are those of the last time an alert was raised."
    yield (
        "A response is the crew's acknowledgement, or the note of the deed that was asked for, whichever "
        "came first; what was done without a note is not on record."
    )
    yield (
        f"Effect of a shade: the median temperature of the {window} before, and of the {window} that end "
        f"{later} after it; sun and air go on changing meanwhile. Effect of a re-peak: the median Es/N0 of "
        f"the {window} before it, and of {window} from {settle} after its end on."
    )
    yield (
        "Sunshine is direct beam over 120 W/m² (WMO-No. 8): the plan's clear sky under the cloud or the "
        "irradiance that was reported; shade is what the crew's notes say."
    )
    yield (
        f"Headroom is the tenth percentile ({HEADROOM_PERCENT:.0f} %) of what the uplink carried in the "
        f"tests, the stream beside them included, less {STREAM_ALLOWANCE:g} times the stream (headers and "
        "the encoder's peaks, common practice). Percentiles interpolate linearly."
    )
    yield (
        "Es/N0 is as good as the modem's own measurement, often about a decibel; the plan errs by as much. "
        "Percentiles count readings, not time."
    )
    yield f"Rules {rules_digest[:12]}, peakshade {version}. Nothing was filled in where it was not measured."


def _alerts(review: Review) -> str:
    if review.provenance == "stored":
        return "Alerts are those that were raised live."
    return "Alerts come from the engine that runs live, over the recorded readings."
