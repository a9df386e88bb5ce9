"""The crew's page: one verdict, what comes next, four trends, alerts to answer and notes to give."""

import time
from collections.abc import Callable

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component

from agent.store.opening import StoreError
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits, DisplayUnitsData, display_units_of
from dashboard.figures.trends import TRENDS, Trend, trend_figure, trends_of
from dashboard.page_data.terminal import TREND_SPAN_S, CrewData, crew_data
from dashboard.pages import crew_answers, crew_parts, input_parts
from dashboard.pages.aria import HIDDEN, with_attributes
from dashboard.pages.changes import only_changed
from dashboard.settings import current_settings
from dashboard.site_time import second_text
from dashboard.theme import THEMES

PATH = "/"
POLL_MS = 3000
TICK_MS = 1000
# The agent writes every five seconds, the page asks every three; twice both is a loss, not a hiccup.
SILENT_AFTER_S = 16.0
TEXT_PARTS = ("masthead", "verdict", "next", "alerts", "ages", "states", "offer", "notes")
CAPTIONS = tuple(f"caption-{trend.name}" for trend in TRENDS)
GRAPHS = tuple(f"graph-{trend.name}" for trend in TRENDS)
PARTS = TEXT_PARTS + CAPTIONS + GRAPHS + ("alarms",)


def layout() -> Component:
    """The page with its parts still empty."""
    return html.Div([*_timers(), html.Div(id="masthead"), _now_column(), _side_column()], id="crew")


def _timers() -> list[Component]:
    return [
        dcc.Interval(id="poll", interval=POLL_MS),
        dcc.Interval(id="tick", interval=TICK_MS),
        dcc.Store(id="contact"),
        dcc.Store(id="alarms"),
        dcc.Store(id="announced"),
        dcc.Store(id="digests", data={}),
        dcc.Store(id="cover-words", data=dict(words.COVER) | {"silent_after_s": SILENT_AFTER_S}),
    ]


def _now_column() -> Component:
    verdict = with_attributes(html.Div(id="verdict"), {"aria-live": "polite"})
    trends = html.Div([_trend(trend) for trend in TRENDS], className="trends")
    return html.Div(
        [
            html.Div([_cover(), verdict, html.Div(id="next")]),
            html.Section([html.H2(words.ALERTS), html.Div(id="alerts")], className="sheet"),
            html.Section([html.H2(words.TRENDS), trends], className="sheet trend-sheet"),
        ],
        className="column",
    )


def _side_column() -> Component:
    ages = html.Section(
        [html.H2(words.INPUT_AGES), html.Div(id="states"), html.Div(id="ages")], className="sheet age-sheet"
    )
    said = html.P(id="delivery", className="delivery", role="status")
    return html.Div([crew_answers.note_keys(), ages, said], className="column side")


def _cover() -> Component:
    lines = [html.P(id="cover-title"), html.P(id="cover-why"), html.P(id="cover-last")]
    return html.Div(lines, id="cover", className="cover", role="alert", hidden=True)


def _trend(trend: Trend) -> Component:
    graph = dcc.Graph(id=f"graph-{trend.name}", config={"staticPlot": True, "responsive": True})
    return html.Figure(
        [
            html.H3(trend.title),
            with_attributes(html.Div(graph), HIDDEN),
            html.Figcaption(id=f"caption-{trend.name}"),
        ],
        className="trend",
    )


def page_parts(seen: CrewData, theme_name: str, units: DisplayUnits = METRIC) -> dict[str, object]:
    """Every part of the page by name."""
    situation, zone = seen.current.situation, seen.zone
    span_unix_s = (situation.unix_s - TREND_SPAN_S, situation.unix_s)
    theme = THEMES[theme_name]
    trends = trends_of(situation.figures, seen.history)
    captions = [crew_parts.trend_caption(trend, situation.figures, zone, units) for trend in trends]
    graphs = [trend_figure(trend, seen.history, span_unix_s, zone, theme, units) for trend in trends]
    return {
        "masthead": crew_parts.masthead(seen.current.terminal, seen.job, situation.unix_s, zone),
        "verdict": crew_parts.verdict(situation, units),
        "next": crew_parts.next_thing(situation, zone),
        "alerts": crew_parts.alert_list(situation.alerts, zone, units),
        "ages": crew_parts.input_ages(situation.last_seen_unix_s, situation.unix_s, zone),
        "states": input_parts.input_states(seen.inputs, situation.unix_s),
        "notes": crew_parts.note_list(seen.notes, zone),
        "offer": crew_parts.undo_offer(seen.notes, situation.unix_s),
        "alarms": crew_parts.alarms(situation.alerts),
        **dict(zip(CAPTIONS, captions, strict=True)),
        **dict(zip(GRAPHS, graphs, strict=True)),
    }


def contact(seen: CrewData | None, wall_unix_s: float) -> dict[str, object]:
    """What the browser needs to judge whether the page still speaks of now."""
    if seen is None:
        return {"state": "no-situation"}
    return {
        "state": "ok",
        "written_age_s": max(0.0, wall_unix_s - seen.current.written_wall_unix_s),
        "clock": second_text(seen.current.situation.unix_s, seen.zone),
    }


def refresh(
    tick: int, search: str, digests: dict[str, str], theme_name: str, units: DisplayUnitsData | None
) -> list[object]:
    """One poll: the contact, the digests, then each part or `no_update`."""
    try:
        seen = crew_data(current_settings(), search)
    except StoreError:
        return _nothing_new({"state": "no-store", "tick": tick})
    if seen is None:
        return _nothing_new(contact(None, time.time()) | {"tick": tick})
    parts, new_digests = only_changed(page_parts(seen, theme_name, display_units_of(units)), digests)
    kept = no_update if new_digests == digests else new_digests
    return [contact(seen, time.time()) | {"tick": tick}, kept, *(parts[name] for name in PARTS)]


def _nothing_new(told: dict[str, object]) -> list[object]:
    return [told, no_update, *(no_update for _ in PARTS)]


def register(app: Dash) -> None:
    """Connect the page's callbacks."""
    app.callback(
        [
            Output("contact", "data"),
            Output("digests", "data"),
            *(Output(part, "children") for part in TEXT_PARTS + CAPTIONS),
            *(Output(part, "figure") for part in GRAPHS),
            Output("alarms", "data"),
        ],
        Input("poll", "n_intervals"),
        State("url", "search"),
        State("digests", "data"),
        Input("theme", "data"),
        Input("display-units", "data"),
    )(refresh)
    in_browser: Callable[..., None] = app.clientside_callback
    in_browser(
        ClientsideFunction("peakshade", "watchContact"),
        Output("crew", "className"),
        Output("cover", "hidden"),
        Output("cover-title", "children"),
        Output("cover-why", "children"),
        Output("cover-last", "children"),
        Input("tick", "n_intervals"),
        Input("contact", "data"),
        State("cover-words", "data"),
    )
    in_browser(
        ClientsideFunction("peakshade", "announce"), Output("announced", "data"), Input("alarms", "data")
    )
    crew_answers.register(app)
