"""The plan page: pointing, budget, rates, sun, sun passes and cautions of the job."""

from zoneinfo import ZoneInfo

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component
from plotly.graph_objects import Figure

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.store.opening import StoreError
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits, DisplayUnitsData, display_units_of
from dashboard.figures.plan import (
    budget_figure,
    fade_figure,
    rate_figure,
    sun_hours_figure,
    sun_path_figure,
)
from dashboard.page_data.terminal import plan_data, site_zone
from dashboard.pages import plan_parts
from dashboard.pages.aria import HIDDEN, with_attributes
from dashboard.settings import current_settings
from dashboard.theme import THEMES, Theme

PATH = "/plan"


def layout() -> Component:
    """The page, still empty."""
    return html.Div([html.H1(words.PAGES[PATH]), html.Div(id="plan")], className="plan")


def plan_page(job: Job, plan: LinkPlan, theme: Theme, units: DisplayUnits = METRIC) -> Component:
    """The whole plan."""
    zone = site_zone(job)
    if plan.pointing.elevation_deg <= 0.0:
        return html.Div([plan_parts.answer(plan, units)], className="sections")
    sections = [
        plan_parts.answer(plan, units),
        _section(words.POINTING, plan_parts.pointing(plan.pointing, job, units)),
        _section(
            words.UPLINK,
            plan_parts.budget(plan.uplink, units),
            _graph(units.dressed(budget_figure(plan.uplink, theme))),
            _graph(units.dressed(fade_figure(plan.uplink, theme))),
        ),
        _section(
            words.DOWNLINK,
            plan_parts.budget(plan.downlink, units),
            _graph(units.dressed(budget_figure(plan.downlink, theme))),
            _graph(units.dressed(fade_figure(plan.downlink, theme))),
        ),
        _section(words.RATES, _graph(units.dressed(rate_figure(plan.availability, job, theme)))),
        _section(words.WHAT_IF, plan_parts.what_if(plan.what_if, units)),
        _section(words.SUN_PASSES, plan_parts.sun_passes(plan.sun_passes, zone, units)),
        _section(words.HEAT, plan_parts.heat(plan, zone, units), *_sun_graphs(plan, zone, theme)),
        _section(words.SAFETY, plan_parts.safety(plan.safety, units)),
        _section(
            words.SUN_PASS_YEAR, plan_parts.folded(plan_parts.sun_passes(plan.sun_passes_year, zone, units))
        ),
        _section(words.ITEMS, plan_parts.items(plan.items, units)),
    ]
    return html.Div(sections, className="sections")


def _sun_graphs(plan: LinkPlan, zone: ZoneInfo, theme: Theme) -> list[Component]:
    return [_graph(sun_hours_figure(plan.heat, zone, theme)), _graph(sun_path_figure(plan, zone, theme))]


def _section(title: str, *parts: Component) -> Component:
    return html.Section([html.H2(title), *parts], className="sheet")


def _graph(figure: Figure) -> Component:
    graph = dcc.Graph(figure=figure, config={"staticPlot": True, "responsive": True})
    return with_attributes(html.Div(graph), HIDDEN)


def show(search: str, theme_name: str, units: DisplayUnitsData | None) -> Component:
    """The stored plan of the terminal asked for."""
    try:
        found = plan_data(current_settings(), search)
    except StoreError:
        return html.P(words.COVER["no-store"])
    return (
        html.P(words.NO_PLAN)
        if found is None
        else plan_page(*found, THEMES[theme_name], display_units_of(units))
    )


def register(app: Dash) -> None:
    """Connect the page's callback."""
    app.callback(
        Output("plan", "children"),
        Input("url", "search"),
        Input("theme", "data"),
        Input("display-units", "data"),
    )(show)
