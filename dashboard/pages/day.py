"""The day page: everything on one time axis, from a minute to weeks, with alerts and notes as marks."""

from collections.abc import Callable, Mapping

from dash import ALL, ClientsideFunction, Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component

from agent.store.opening import StoreError
from dashboard import words
from dashboard.display_units import DisplayUnits, DisplayUnitsData, display_units_of
from dashboard.figures.day import day_figure, empty_figure, rows_of
from dashboard.page_data import windows
from dashboard.page_data.day import DayData, day_data, day_window, day_zone
from dashboard.page_data.labels import LabelRow, labels_of
from dashboard.pages import day_labels, day_notes, day_parts
from dashboard.pages.aria import key_group, with_attributes
from dashboard.pages.changes import only_changed
from dashboard.settings import current_settings
from dashboard.theme import THEMES, Theme

PATH = "/day"
POLL_MS = 15_000
PARTS = ("figure", "said", "keys", "events", "notes")


def layout() -> Component:
    """The page with its figure still empty."""
    graph = dcc.Graph(
        id="day-figure", figure=empty_figure(), config={"displayModeBar": False, "responsive": True}
    )
    described = with_attributes(html.Div(graph, role="img"), {"aria-label": words.DAY_FIGURE})
    return html.Div(
        [
            dcc.Interval(id="day-poll", interval=POLL_MS),
            dcc.Store(id="day-window"),
            dcc.Store(id="day-digests", data={}),
            dcc.Store(id="wide", data=True),
            html.H1(words.PAGES[PATH]),
            _keys("day-span", words.DAY_SPANS, words.DAY_SPAN),
            _keys("day-move", words.MOVES, words.DAY_MOVE),
            html.P(id="day-said", role="status"),
            html.Div([described, html.Div(id="day-keys")], className="sheet"),
            html.Section(html.P(words.TAP_A_MARK), id="day-event", className="sheet"),
            html.Section([html.H2(words.EVENTS), html.Div(id="day-events")], className="sheet"),
            day_notes.section(),
            day_labels.section(),
        ],
        className="day",
    )


def _keys(group: str, names: Mapping[str, str], label: str) -> Component:
    keys = [html.Button(text, id={"type": group, "name": name}, n_clicks=0) for name, text in names.items()]
    return key_group(keys, label)


def choose(_clicks: list[int], search: str) -> object:
    """A span was chosen; the page opens with the job's hours."""
    span = ctx.triggered_id["name"] if ctx.triggered_id else windows.JOB_SPAN
    try:
        return day_window(current_settings(), search, span)
    except StoreError:
        return None


def move(_clicks: list[int], window: list[float] | None) -> object:
    """The crew moves in time."""
    if window is None or not ctx.triggered or not ctx.triggered[0]["value"]:
        return no_update
    return windows.moved((window[0], window[1]), ctx.triggered_id["name"])


def drag(relayout: dict[str, object] | None, search: str) -> object:
    """A shorter span was dragged open in the figure."""
    try:
        window = windows.dragged(relayout or {}, day_zone(current_settings(), search))
    except StoreError:
        return no_update
    return no_update if window is None else window


def draw(
    _tick: int,
    window: list[float] | None,
    taste: tuple[str, bool, DisplayUnitsData | None],
    labels: list[LabelRow],
    search: str,
    digests: dict[str, str],
) -> list[object]:
    """Draw the span anew; only what changed travels, so that opened alerts stay open."""
    data = _data_or_words(window, search)
    if isinstance(data, str):
        return [no_update, data, *[no_update] * 4]
    theme, wide, units = taste
    parts, new_digests = only_changed(
        span_parts(data, THEMES[theme], wide, labels, display_units_of(units)), digests
    )
    return [*(parts[name] for name in PARTS), new_digests]


def _data_or_words(window: list[float] | None, search: str) -> DayData | str:
    """What the store knows of the span, or why there is nothing to see."""
    try:
        span = None if window is None else (window[0], window[1])
        return day_data(current_settings(), search, span) or words.NO_DATA_YET
    except StoreError:
        return words.COVER["no-store"]


def span_parts(
    data: DayData, theme: Theme, wide: bool, labels: list[LabelRow], units: DisplayUnits
) -> dict[str, object]:
    """Every part of the page by name."""
    return {
        "figure": day_figure(data, theme, draggable=wide, labels=labels_of(labels), units=units),
        "said": day_parts.window_text(data.window, data.zone),
        "keys": day_parts.line_keys(rows_of(data), units),
        "events": day_parts.event_list(data.events, data.zone, units),
        "notes": day_notes.note_list(data.notes, data.zone),
    }


def show_event(
    click: dict[str, list[dict[str, object]]] | None,
    window: list[float],
    search: str,
    units: DisplayUnitsData | None,
) -> object:
    """A mark was tapped."""
    number = (click or {"points": [{}]})["points"][0].get("customdata")
    data = _data_or_words(window, search)
    if isinstance(data, str) or not isinstance(number, int) or number >= len(data.events):
        return no_update
    return day_parts.event_details(data.events[number], data.zone, True, display_units_of(units))


def register(app: Dash) -> None:
    """Connect the page's callbacks."""
    search = State("url", "search")
    window = Output("day-window", "data", allow_duplicate=True)
    app.callback(
        window,
        Input({"type": "day-span", "name": ALL}, "n_clicks"),
        search,
        prevent_initial_call="initial_duplicate",
    )(choose)
    app.callback(
        window,
        Input({"type": "day-move", "name": ALL}, "n_clicks"),
        State("day-window", "data"),
        prevent_initial_call=True,
    )(move)
    app.callback(window, Input("day-figure", "relayoutData"), search, prevent_initial_call=True)(drag)
    app.callback(
        [Output("day-figure", "figure"), *(Output(f"day-{name}", "children") for name in PARTS[1:])]
        + [Output("day-digests", "data")],
        inputs=[
            Input("day-poll", "n_intervals"),
            Input("day-window", "data"),
            (Input("theme", "data"), Input("wide", "data"), Input("display-units", "data")),
            Input("day-labels", "data"),
            search,
            State("day-digests", "data"),
        ],
        prevent_initial_call=True,
    )(draw)
    app.callback(
        Output("day-event", "children"),
        Input("day-figure", "clickData"),
        State("day-window", "data"),
        search,
        State("display-units", "data"),
        prevent_initial_call=True,
    )(show_event)
    day_notes.register(app)
    day_labels.register(app)
    in_browser: Callable[..., None] = app.clientside_callback
    in_browser(ClientsideFunction("peakshade", "isWide"), Output("wide", "data"), Input("url", "pathname"))
