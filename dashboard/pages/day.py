"""The day page: everything on one time axis, from a minute to weeks, with alerts as bars and what was told.

It is made here as HTML; `assets/news.js` asks for what has changed, `assets/day.js` sends what was told.
"""

from collections.abc import Mapping
from urllib.parse import urlencode

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, request

from agent.store.opening import StoreError
from dashboard import words
from dashboard.display_units import DisplayUnits, asked_units
from dashboard.figures.day import day_picture
from dashboard.page_data.day import DayData, day_data
from dashboard.page_data.terminal import whose_page
from dashboard.page_data.windows import Asked, Window, asked_of, moved
from dashboard.pages import day_labels, day_notes, day_parts, explore, shell
from dashboard.pages.aria import with_attributes
from dashboard.pages.markup import Markup, to_html
from dashboard.settings import current_settings

PATH = "/day"
NEWS = "/day/news"
POLL_S = 15
SCRIPTS = ("news.js", "day.js")


def page() -> Response:
    """The whole page."""
    whose = whose_page(current_settings(), request.args.get("terminal"))
    if whose.refusal is not None:
        return shell.refused(PATH, whose.refusal)
    asked = asked_of(request.args)
    head = shell.Extras(head="".join(map(shell.script, SCRIPTS)))
    body = with_attributes(
        html.Div(shown(whose.terminal, asked, asked_units()), id="day-shown"),
        {"data-news": f"{NEWS}?{urlencode(_address(whose.terminal, asked))}", "data-every-s": str(POLL_S)},
    )
    forms = [] if whose.terminal is None else [day_notes.section(), day_labels.section()]
    return shell.answer(
        PATH, whose, [html.Div([html.H1(words.PAGES[PATH]), body, *forms], className="day")], head
    )


def changed() -> Response:
    """What the page shows of its span now; a browser that has it already is told so."""
    body = to_html(shown(request.args.get("terminal"), asked_of(request.args), asked_units()))
    return shell.fresh(body)


def shown(terminal: str | None, asked: Asked, units: DisplayUnits) -> list[Component]:
    """The span with its keys, the panels, the alerts and the notes; or why there is nothing to see."""
    try:
        data = day_data(current_settings(), terminal, asked)
    except StoreError:
        return [html.P(words.COVER["no-store"])]
    return [html.P(words.NO_DATA_YET)] if data is None else span_parts(data, asked, units)


def span_parts(data: DayData, asked: Asked, units: DisplayUnits) -> list[Component]:
    """Every part that follows the span."""
    picture = html.Div(
        [day_parts.lanes(data, units), html.Div(Markup(day_picture(data, units)), className="panels")],
        id="day-figure",
        className="sheet",
    )
    ends = {"start": str(data.window[0]), "end": str(data.window[1]), "zone": data.zone.key}
    more = html.A(
        words.EXPLORE, href=f"{explore.PATH}?{_from_to(data.terminal, data.window)}", className="print"
    )
    notes = html.Section(
        [html.H2(words.SPAN_NOTES), html.Div(day_notes.note_list(data.notes, data.zone), id="day-notes")],
        className="sheet",
    )
    return [
        _span_keys(data.terminal, asked),
        _move_keys(data),
        html.P(day_parts.window_text(data.window, data.zone), id="day-said", role="status"),
        with_attributes(picture, {f"data-{name}": value for name, value in ends.items()}),
        html.P([more, html.Span(words.FIGURE_HINT, className="hint")], className="more"),
        notes,
    ]


def _span_keys(terminal: str, asked: Asked) -> Component:
    links = [
        with_attributes(
            html.A(text, href=f"{PATH}?{urlencode({'terminal': terminal, 'span': name})}"),
            {"aria-current": "true"} if name == asked.span else {},
        )
        for name, text in words.DAY_SPANS.items()
    ]
    return with_attributes(html.Nav(links, className="spans"), {"aria-label": words.DAY_SPAN})


def _move_keys(data: DayData) -> Component:
    links = [
        html.A(text, href=f"{PATH}?{_from_to(data.terminal, moved(data.window, name))}")
        for name, text in words.MOVES.items()
    ]
    return with_attributes(html.Nav(links, className="spans"), {"aria-label": words.DAY_MOVE})


def _from_to(terminal: str, window: Window) -> str:
    return urlencode(_address(terminal, Asked("", window)))


def _address(terminal: str | None, asked: Asked) -> Mapping[str, str]:
    named = {} if terminal is None else {"terminal": terminal}
    if asked.window is None:
        return {**named, "span": asked.span}
    return {**named, "from": f"{asked.window[0]:.0f}", "to": f"{asked.window[1]:.0f}"}


def register(server: Flask) -> None:
    """Serve the page, its news, and what is told on it."""
    server.add_url_rule(PATH, "day", page)
    server.add_url_rule(NEWS, "day-news", changed)
    day_notes.register(server)
    day_labels.register(server)
