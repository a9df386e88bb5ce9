"""Puts the pages together into one app."""

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from dashboard import words
from dashboard.access.gate import Gate
from dashboard.access.request_guard import current_role, guard
from dashboard.pages import crew, day, device, plan, terminals, tuning
from dashboard.pages.aria import with_attributes
from dashboard.settings import CONFIG_KEY, Settings
from dashboard.theme import style_sheet

_MODULES = (crew, day, plan, terminals, tuning)
PAGES = {page.PATH: page.layout for page in _MODULES}

# The colours stand in the page itself, so that its first frame has them.
_INDEX = """<!DOCTYPE html>
<html lang="en" data-theme="day">
<head>
{%metas%}
<title>{%title%}</title>
{%favicon%}
<style>STYLE</style>
{%css%}
</head>
<body>
<noscript>NOSCRIPT</noscript>
{%app_entry%}
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""


def build_app(settings: Settings, gate: Gate | None) -> Dash:
    """The app for these settings; nothing is read before the first request."""
    app = Dash(
        __package__,
        title=words.TITLE,
        update_title="",
        suppress_callback_exceptions=True,
        serve_locally=True,
        index_string=_INDEX.replace("STYLE", style_sheet()).replace("NOSCRIPT", words.SCRIPT_NEEDED),
        meta_tags=[{"name": "viewport", "content": "width=device-width, initial-scale=1"}],
    )
    app.server.config[CONFIG_KEY] = settings
    app.layout = shell()
    app.callback(Output("page", "children"), Input("url", "pathname"))(show_page)
    for page in _MODULES:
        page.register(app)
    device.register(app)
    guard(app, gate)
    return app


def shell() -> Component:
    """What every page has: the address, the list of pages and room for the page."""
    links = [dcc.Link(name, href=path) for path, name in words.PAGES.items() if path in PAGES]
    return html.Div(
        [
            dcc.Location(id="url"),
            dcc.Store(id="theme", storage_type="local", data="day"),
            dcc.Store(id="units", storage_type="local", data="metric"),
            dcc.Store(id="display-units"),
            html.Header(with_attributes(html.Nav(links), {"aria-label": words.TITLE})),
            html.Main(id="page"),
            device.device_keys(),
        ]
    )


def show_page(pathname: str) -> Component:
    """The page that the address names; a guest's page has no buttons that the server would refuse."""
    page = PAGES[pathname]() if pathname in PAGES else html.P(words.UNKNOWN_PAGE)
    return html.Div(page, className=f"for-{current_role()}")
