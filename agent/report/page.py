"""The review as one HTML page that needs nothing else: styles and charts stand in it."""

from collections.abc import Mapping, Sequence
from importlib.resources import files
from math import ceil

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from agent.report.cautions import cautions, safety
from agent.report.day_charts import (
    alert_chart,
    distribution_chart,
    heat_chart,
    rate_chart,
    signal_chart,
    signal_measure,
    small_heat_chart,
    small_signal_chart,
    sun_chart,
)
from agent.report.figures import compared, figures
from agent.report.findings import findings
from agent.report.method import definitions, method
from agent.report.review import Review
from agent.report.rows import action_rows, episode_texts, level_rows
from agent.report.svg import BLUE, VIOLET
from agent.report.verdict import verdict
from agent.report.words import percent, span

RATE_FIGURES = (
    "tests", "down_mbps", "down_lowest_mbps", "up_mbps", "up_lowest_mbps", "up_weak_mbps", "stream_need_mbps",
    "headroom_mbps", "tests_short", "rtt_ms", "loss_percent", "bytes_used", "counted_bytes",
    "allowance_share_percent", "bytes_share_percent",
)  # fmt: skip
HEAT_FIGURES = (
    "unshaded_s", "shaded_s", "transmitter_peak_degc", "transmitter_margin_k", "transmitter_near_s",
    "transmitter_over_s", "modem_peak_degc", "modem_margin_k", "air_peak_degc",
)  # fmt: skip
DAYS_ACROSS = 6
PROVENANCES = {"invented": "invented data", "recorded": "recorded data", "stored": "stored by the agent"}


def page_html(reviews: Sequence[Review], rules_digest: str, version: str) -> str:
    """The whole page; a comparison stands in front where there is more than one day."""
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    environment.filters |= {"percent": percent, "span": span}
    template = environment.from_string(_packaged("page.html.j2"))
    return template.render(
        title=reviews[0].title if len(reviews) == 1 else f"{len(reviews)} days of review",
        style=Markup(_packaged("page.css")),
        days=[_day(one, reviews) | {"method": list(method(one, rules_digest, version))} for one in reviews],
        comparison=_comparison(reviews),
        safety=list(dict.fromkeys(line for one in reviews for line in safety(one))),
    )


def _packaged(name: str) -> str:
    return (files("agent.report") / name).read_text(encoding="utf-8")


def _comparison(reviews: Sequence[Review]) -> list[dict[str, object]]:
    """Tables that fit on paper: a few days each, one row a figure."""
    across = ceil(len(reviews) / ceil(len(reviews) / DAYS_ACROSS))
    groups = [reviews[start : start + across] for start in range(0, len(reviews), across)]
    return [
        {
            "days": [(one.name, one.clock.iso_date()) for one in group],
            "rows": [
                [row[0].name, *(figure.text for figure in row)]
                for row in zip(*map(compared, group), strict=True)
            ],
        }
        for group in groups
    ]


def _day(review: Review, reviews: Sequence[Review]) -> dict[str, object]:
    known = {figure.key: figure for figure in figures(review)}
    found = findings(review)
    return {
        "review": review,
        "provenance": PROVENANCES[review.provenance],
        "verdict": verdict(review, found),
        "findings": found,
        "availabilities": (
            ("signal", review.availability.signal),
            ("throughput tests", review.availability.tests),
            ("both at once", review.availability.both),
        ),
        "definitions": list(definitions(review)),
        "signal_measure": signal_measure(review),
        "levels": level_rows(review),
        "rate_figures": [known[key] for key in RATE_FIGURES],
        "heat_figures": [known[key] for key in HEAT_FIGURES],
        "episodes": episode_texts(review),
        "actions": action_rows(review),
        "cautions": cautions(review),
        **_charts(review, reviews),
    }


def _charts(review: Review, reviews: Sequence[Review]) -> Mapping[str, Markup]:
    pictures = {
        "signal": signal_chart(review),
        "rate": rate_chart(review),
        "down_distribution": distribution_chart(review.down, BLUE),
        "up_distribution": distribution_chart(review.up, VIOLET),
        "heat": heat_chart(review),
        "sun": sun_chart(review),
        "alert": alert_chart(review),
        "small_signal": small_signal_chart(review, reviews),
        "small_heat": small_heat_chart(review, reviews),
    }
    # The chart functions escape every word that they are given.
    return {name: Markup(picture) for name, picture in pictures.items()}
