"""The crew's page: one verdict with its answer, what comes next, four trends, alerts and notes.

It is made here as HTML; `assets/crew.js` asks for what has changed and sends what was tapped.
"""

import hashlib
import json
import time
from collections.abc import Mapping
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, jsonify, request

from agent.records import JsonValue
from agent.store.opening import StoreError
from dashboard import messages, queries, words
from dashboard.display_units import METRIC, DisplayUnits, asked_units
from dashboard.figures.trends import TRENDS, Trend, trend_picture, trends_of
from dashboard.page_data.peaking import peaking_data
from dashboard.page_data.terminal import TREND_SPAN_S, CrewData, crew_data, whose_page, written_age_s
from dashboard.pages import alarm, crew_answers, crew_parts, input_parts, peaking, shell
from dashboard.pages.aria import HIDDEN, with_attributes
from dashboard.pages.markup import Markup, to_html
from dashboard.settings import Settings, current_settings
from dashboard.site_time import second_text

PATH = "/"
NEWS = "/crew/news"
POLL_MS = 3000
# A played day that has so little left, and is written of no more, is over.
OVER_WITHIN_S = 60.0
SCRIPTS = ("peaking.js", "crew.js")
CAPTIONS = tuple(f"caption-{trend.name}" for trend in TRENDS)
GRAPHS = tuple(f"graph-{trend.name}" for trend in TRENDS)


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """The parts of the page by name as HTML, what the alarm needs, and how fresh all of it is."""

    contact: Mapping[str, object]
    parts: Mapping[str, str]
    alarms: list[dict[str, JsonValue]]
    peaking: bool = False


def page() -> Response:
    """The whole page."""
    whose = whose_page(current_settings(), request.args.get("terminal"))
    if whose.refusal is not None:
        return shell.refused(PATH, whose.refusal)
    first = news(whose.terminal, asked_units())
    fresh = {"contact": first.contact, "alarms": first.alarms, "peaking": first.peaking}
    told = Markup(json.dumps(fresh).replace("<", "\\u003c"))
    data = Markup(f'<script type="application/json" id="first">{told}</script>')
    ask = with_attributes(body(first.parts), {"data-words": json.dumps({**words.COVER, **_times()})})
    scripts = "".join(map(shell.script, SCRIPTS))
    return shell.answer(PATH, whose, [ask, data], shell.Extras(head=scripts))


def _times() -> Mapping[str, str | float]:
    """What the script does how often."""
    rings = current_settings().alarm
    return {
        "silent_after_s": current_settings().silent_after_s,
        "poll_ms": POLL_MS,
        "repeat_ms": 1000.0 * rings.repeat_s,
        "lost_every_ms": 1000.0 * rings.remind_urgent_s,
    }


def changed() -> Response:
    """What differs from the parts that the browser has, by their digests."""
    asked = request.get_json()
    now = news(asked["terminal"], asked_units())
    digests = {name: _digest(part) for name, part in now.parts.items()}
    parts = {name: part for name, part in now.parts.items() if asked["digests"].get(name) != digests[name]}
    new = {name: digests[name] for name in parts}
    return jsonify(contact=now.contact, parts=parts, digests=new, alarms=now.alarms, peaking=now.peaking)


def _digest(part: str) -> str:
    """Tells whether two parts are the same."""
    return hashlib.blake2b(part.encode(), digest_size=8).hexdigest()


def news(terminal: str | None, units: DisplayUnits) -> News:
    """What the store knows now; without it no part changes."""
    settings, wall_unix_s = current_settings(), time.time()
    try:
        seen = crew_data(settings, terminal)
    except StoreError:
        return News(contact={"state": "no-store"}, parts={}, alarms=[])
    if seen is None:
        return News(contact={"state": "no-situation"}, parts={}, alarms=[])
    unix_s = messages.agent_time(seen.current, settings.speed, wall_unix_s)
    ringing = alarm.Ringing(unix_s, settings.alarm, seen.zone, settings.speed)
    fresh = contact(seen, wall_unix_s) | {
        "over": is_over(seen.current, settings, wall_unix_s),
        "rings": ringing.may(alarm.LOST),
    }
    shown = page_parts(seen, units) | ({"next": crew_parts.day_over()} if fresh["over"] else {})
    return News(
        contact=fresh,
        parts={name: to_html(part) for name, part in shown.items()},
        alarms=alarm.alarms(seen.current.situation.alerts, ringing),
        peaking=peaking_data(settings, terminal, wall_unix_s) is not None,
    )


def is_over(current: queries.CurrentSituation, settings: Settings, wall_unix_s: float) -> bool:
    """Whether a day that is played has come to its end, and the agent writes no more of it."""
    written_s = written_age_s(current, settings, wall_unix_s)
    if settings.ends_unix_s is None or written_s <= settings.silent_after_s / 2.0:
        return False
    return current.situation.unix_s >= settings.ends_unix_s - OVER_WITHIN_S - 2.0 * settings.speed


def body(parts: Mapping[str, str]) -> Component:
    """The page with these parts in their places; what is not known yet is empty."""
    now = [
        _cover(),
        peaking.panel(),
        with_attributes(_place("verdict", parts), {"aria-live": "polite"}),
        html.P(className="delivery", role="status"),
        _place("next", parts),
    ]
    trends = html.Div([_trend(trend, parts) for trend in TRENDS], className="trends")
    alerts = html.Section([html.H2(words.ALERTS), _place("alerts", parts)], className="sheet")
    trend_sheet = html.Section([html.H2(words.TRENDS), trends], className="sheet trend-sheet")
    ages = html.Section(
        [html.H2(words.INPUT_AGES), _place("states", parts), _place("ages", parts)],
        className="sheet age-sheet",
    )
    answers = crew_answers.note_keys(_place("offer", parts), _place("notes", parts))
    return html.Div(
        [
            _place("masthead", parts),
            html.Div([html.Div(now), alerts, trend_sheet], className="column"),
            html.Div([answers, ages], className="column side"),
        ],
        id="crew",
        className="crew live" if parts else "crew waiting",
    )


def _place(name: str, parts: Mapping[str, str]) -> html.Div:
    return html.Div(Markup(parts.get(name, "")), id=name)


def _cover() -> Component:
    lines = [html.P(id="cover-title"), html.P(id="cover-why"), html.P(id="cover-last")]
    return html.Div(lines, id="cover", className="cover", role="alert", hidden=True)


def _trend(trend: Trend, parts: Mapping[str, str]) -> Component:
    graph = with_attributes(
        html.Div(Markup(parts.get(f"graph-{trend.name}", "")), id=f"graph-{trend.name}", className="picture"),
        HIDDEN,
    )
    caption = html.Figcaption(Markup(parts.get(f"caption-{trend.name}", "")), id=f"caption-{trend.name}")
    return html.Figure([html.H3(trend.title), graph, caption], className="trend")


def page_parts(seen: CrewData, units: DisplayUnits = METRIC) -> dict[str, object]:
    """Every part of the page by name."""
    situation, zone = seen.current.situation, seen.zone
    span_unix_s = (situation.unix_s - TREND_SPAN_S, situation.unix_s)
    trends = trends_of(situation.figures, seen.history)
    captions = [crew_parts.trend_caption(trend, situation.figures, zone, units) for trend in trends]
    graphs = [
        Markup(trend_picture(trend, seen.history, span_unix_s, zone, units)) or html.P(words.NO_CURVE)
        for trend in trends
    ]
    return {
        "masthead": crew_parts.masthead(seen.current.terminal, seen.job, situation.unix_s, zone),
        "verdict": crew_parts.verdict(situation, seen.seen_by, zone, units),
        "next": crew_parts.next_thing(situation, zone),
        "alerts": crew_parts.alert_list(situation, seen.seen_by, zone, units),
        "ages": crew_parts.input_ages(situation.last_seen_unix_s, situation.unix_s, zone),
        "states": input_parts.input_states(seen.inputs, situation.unix_s),
        "notes": crew_parts.note_list(seen.notes, zone),
        "offer": crew_parts.undo_offer(seen.notes, situation.unix_s),
        **dict(zip(CAPTIONS, captions, strict=True)),
        **dict(zip(GRAPHS, graphs, strict=True)),
    }


def contact(seen: CrewData, wall_unix_s: float) -> dict[str, object]:
    """What the browser needs to judge whether the page still speaks of now."""
    live = current_settings().speed == 1.0
    running = {"unix_s": messages.agent_time(seen.current, 1.0, wall_unix_s)} if live else {}
    return {
        **running,
        "state": "ok",
        "written_age_s": written_age_s(seen.current, current_settings(), wall_unix_s),
        "clock": second_text(seen.current.situation.unix_s, seen.zone),
    }


def register(server: Flask) -> None:
    """Serve the page, its news and what is told."""
    server.add_url_rule(PATH, "crew", page)
    server.add_url_rule(NEWS, view_func=changed, methods=["POST"])
    crew_answers.register(server)
    peaking.register(server)
