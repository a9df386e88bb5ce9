"""Puts the pages together: those whose figures are explored are Dash's, the others plain HTML."""

import re
from collections.abc import Callable, Mapping
from types import ModuleType
from urllib.parse import urlsplit

from dash import ClientsideFunction, Dash, Input, Output, dcc, html
from dash.development.base_component import Component
from flask import Flask, Response, request

from dashboard import travel, words
from dashboard.access.gate import Gate
from dashboard.access.request_guard import guard
from dashboard.page_data.terminal import whose_page
from dashboard.pages import crew, day, explore, plan, report, shell, terminals, tuning
from dashboard.pages.markup import Markup, to_html
from dashboard.settings import CONFIG_KEY, Settings, current_settings

PLAIN = (crew, day, plan, report, terminals)
EXPLORED: Mapping[str, ModuleType] = {page.PATH: page for page in (explore, tuning)}
# The name that Dash gives to its answer to every address that nobody else has.
_ANY_PATH = "/<path:path>"


class _Pages(Dash):
    """Dash with the same page around its part as every other page has."""

    # Dash passes these parts by name, and says to override it so.
    def interpolate_index(self, **parts: str) -> str:  # type: ignore[override]
        """The page; until the script has drawn its part, what needs no data stands in its place."""
        whose = whose_page(current_settings(), request.args.get("terminal"))
        # Keys and fields that nobody answers yet cannot be used.
        drawn = Markup(re.sub("<(button|input)", r"<\1 disabled", to_html(explored(request.path))))
        parts_of_main = [html.Div(drawn, id="until-drawn"), html.Div(id="react-entry-point")]
        # Fetched ahead; to preload it would be a warning wherever it is not drawn within seconds.
        plotly = f'<link rel="prefetch" as="script" href="{travel.PLOTLY}">'
        foot = Markup(f"{parts['config']}{parts['scripts']}{parts['renderer']}")
        return shell.document(request.path, whose, parts_of_main, shell.Extras(head=plotly, foot=foot))


def build_app(settings: Settings, gate: Gate | None) -> Dash:
    """The app for these settings; nothing is read before the first request."""
    server = Flask(__name__.partition(".")[0])
    server.config[CONFIG_KEY] = settings
    for page in PLAIN:
        page.register(server)
    travel.set_up(server)
    app = _Pages(
        __package__,
        server=server,  # type: ignore[arg-type]  # its annotation forgets what its documents show
        update_title="",
        suppress_callback_exceptions=True,
        serve_locally=True,
        include_assets_files=False,
    )
    app.layout = asked_page
    for path, page in EXPLORED.items():
        page.register(app)
        server.add_url_rule(path, path, explored_view(app))
    server.view_functions[_ANY_PATH] = unknown_page
    theme_and_units = ClientsideFunction("peakshade", "themeAndUnits")
    in_browser: Callable[..., None] = app.clientside_callback
    in_browser(
        theme_and_units, Output("theme", "data"), Output("display-units", "data"), Input("url", "pathname")
    )
    guard(app, gate)
    return app


def explored_view(app: Dash) -> Callable[[], Response]:
    """Serves a page of Dash, of a terminal that is known."""
    index: Callable[[], str] = app.index

    def view() -> Response:
        refusal = whose_page(current_settings(), request.args.get("terminal")).refusal
        if refusal is not None:
            return shell.refused(request.path, refusal)
        return Response(index(), mimetype="text/html")

    return view


def unknown_page(path: str) -> Response:
    """What is not among the pages."""
    return shell.refused(path, words.UNKNOWN_PAGE)


def asked_page() -> Component:
    """What Dash draws: the part of the page from which the browser asks for it."""
    return explored(urlsplit(request.referrer or "").path)


def explored(path: str) -> Component:
    """The page's part, with what it knows of its address and of the screen."""
    known = [dcc.Location(id="url"), dcc.Store(id="theme", data="day"), dcc.Store(id="display-units")]
    page = EXPLORED[path].layout() if path in EXPLORED else html.P(words.UNKNOWN_PAGE)
    return html.Div([*known, page], className="drawn")
