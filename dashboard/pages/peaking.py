"""While the dish is turned: one figure to be read at arm's length, asked for every second."""

import time

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, jsonify, request

from agent.store.opening import StoreError
from dashboard import hand_words, words
from dashboard.page_data.peaking import Peaking, peaking_data
from dashboard.pages.aria import with_attributes
from dashboard.settings import current_settings

PEAKING = "/crew/peaking"
UNITS = {"esno_db": "dB", "cn_db": "dB", "quality_percent": "%"}
DECIMALS = {"esno_db": 1, "cn_db": 1, "quality_percent": 0}
# The tone falls by an octave for so much below the best, and is highest there.
OCTAVE = {"esno_db": 3.0, "cn_db": 3.0, "quality_percent": 15.0}
BEST_HZ, LOWEST_HZ = 1320.0, 110.0
OLD_S = 3.0


def panel() -> Component:
    """The box, empty and hidden until the crew peaks."""
    keys = [
        html.Button(words.NOTES["peak-done"], id={"type": "note", "kind": "peak-done"}, className="tell"),
        with_attributes(html.Button(hand_words.TONE, id="tone-key"), {"aria-pressed": "false"}),
    ]
    level = html.P([html.Strong(id="peak-level"), html.Span(id="peak-unit")], className="peak-level")
    lines = [level, html.P(id="peak-way"), html.P(id="peak-beside"), html.P(id="peak-age")]
    parts = [html.H2(hand_words.PEAKING), *lines, html.Div(keys, className="keys")]
    return with_attributes(
        html.Section(parts, id="peaking", hidden=True), {"data-lost": hand_words.PEAKING_LOST}
    )


def changed() -> Response:
    """The figures of now in words; none where nobody peaks."""
    try:
        seen = peaking_data(current_settings(), request.args.get("terminal") or None, time.time())
    except StoreError:
        return jsonify(peaking=False)
    return jsonify(peaking=False) if seen is None else jsonify(peaking=True, **figures(seen))


def figures(seen: Peaking) -> dict[str, object]:
    """What stands in the box, and the pitch of the tone (Hz)."""
    if seen.figure is None or not seen.locked or seen.level is None:
        return {
            "level": hand_words.NO_LEVEL if seen.locked else hand_words.NO_LOCK,
            "unit": "",
            "way": "",
            "beside": "",
        }
    name, level = seen.figure, seen.level
    beside = (
        (hand_words.BEST_SO_FAR, seen.best),
        (hand_words.PLANNED, seen.plan),
        (hand_words.BEFORE, seen.before),
    )
    best = level if seen.best is None else seen.best
    return {
        "level": f"{level:.{DECIMALS[name]}f}",
        "unit": UNITS[name],
        "way": "" if seen.way is None else hand_words.WAYS[seen.way],
        "direction": seen.way,
        "beside": " · ".join(
            f"{what} {value:.{DECIMALS[name]}f}" for what, value in beside if value is not None
        ),
        "age": ""
        if seen.age_s is None or seen.age_s < OLD_S
        else hand_words.LEVEL_AGE.format(age_s=f"{seen.age_s:.0f}"),
        "hz": max(LOWEST_HZ, BEST_HZ * 2.0 ** ((level - best) / OCTAVE[name])),
    }


def register(server: Flask) -> None:
    """Serve the figures."""
    server.add_url_rule(PEAKING, "peaking", changed)
