"""The day's lines where each value can be read and a span dragged open: plotly, loaded here alone."""

from urllib.parse import parse_qs

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from dashboard import words
from dashboard.display_units import asked_units
from dashboard.figures.explore import empty_figure, lines_figure
from dashboard.page_data.day import FINE_POINTS, day_data
from dashboard.page_data.windows import asked_of
from dashboard.pages.aria import with_attributes
from dashboard.settings import current_settings
from dashboard.theme import THEMES

PATH = "/day/explore"


def layout() -> Component:
    """The page with its figure still empty."""
    graph = dcc.Graph(
        id="explore-figure", figure=empty_figure(), config={"displayModeBar": False, "responsive": True}
    )
    described = with_attributes(
        html.Div(graph, className="sheet", role="img"), {"aria-label": words.EXPLORE_FIGURE}
    )
    return html.Div(
        [html.H1(words.EXPLORE), html.P(words.EXPLORE_HINT, className="hint"), described], className="day"
    )


def draw(theme: str, search: str) -> object:
    """The lines of the span that the address names."""
    named = {name: values[0] for name, values in parse_qs((search or "").removeprefix("?")).items()}
    data = day_data(current_settings(), named.get("terminal"), asked_of(named), FINE_POINTS)
    return empty_figure() if data is None else lines_figure(data, THEMES[theme], asked_units())


def register(app: Dash) -> None:
    """Connect the page's callback."""
    figure, search = Output("explore-figure", "figure"), State("url", "search")
    app.callback(figure, Input("theme", "data"), search)(draw)
