"""The plan page: pointing, budget, rates, sun, sun passes and cautions of the job."""

from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, request

from agent.errors import UsageError
from agent.extras import module_with_extra
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.present import season_sentence
from agent.store.opening import StoreError
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits, asked_units
from dashboard.figures.plan import (
    budget_steps,
    fade_steps,
    rate_picture,
    sun_hours_picture,
    sun_path_picture,
)
from dashboard.page_data.terminal import plan_data, site_zone, whose_page
from dashboard.pages import plan_parts, shell
from dashboard.pages.markup import Markup
from dashboard.settings import current_settings

PATH = "/plan"
PRINTED = "/plan.pdf"


def page() -> Response:
    """The page of a terminal that is known."""
    whose = whose_page(current_settings(), request.args.get("terminal"))
    if whose.refusal is not None:
        return shell.refused(PATH, whose.refusal)
    shown = html.Div(found_plan(whose.terminal, asked_units()), id="plan")
    return shell.answer(PATH, whose, [html.Div([html.H1(words.PAGES[PATH]), shown], className="plan")])


def plan_page(job: Job, plan: LinkPlan, units: DisplayUnits = METRIC) -> Component:
    """The whole plan."""
    zone = site_zone(job)
    if plan.pointing.elevation_deg <= 0.0:
        return html.Div([plan_parts.answer(plan)], className="sections")
    sections = [
        plan_parts.answer(plan),
        _section(words.POINTING, plan_parts.pointing(plan.pointing, job, units)),
        _section(
            words.LINK,
            plan_parts.budgets(plan.uplink, plan.downlink, units),
            html.P(season_sentence(plan, job)),
            _line_by_line(plan, job, units),
        ),
        _section(words.HEAT, *plan_parts.heat(plan, zone, units)),
        _section(words.SAFETY, *plan_parts.safety(plan.safety, units)),
        _section(words.SUN_PASSES, plan_parts.sun_passes(plan.sun_passes, zone, units)),
        plan_parts.folded(words.RATES, _picture(rate_picture(plan.availability, job), words.AVAILABILITY)),
        plan_parts.folded(words.WHAT_IF, plan_parts.what_if(plan.what_if, units)),
        plan_parts.folded(words.SUN_OF_THE_DAY, *_sun_pictures(plan, zone)),
        plan_parts.folded(words.SUN_PASS_YEAR, plan_parts.sun_passes(plan.sun_passes_year, zone, units)),
        plan_parts.folded(words.ITEMS, plan_parts.items(plan.items, units)),
    ]
    return html.Div(sections, className="sections")


def _line_by_line(plan: LinkPlan, job: Job, units: DisplayUnits) -> Component:
    """What adds up to the levels of both directions, folded."""
    parts: list[Component] = [html.Summary(words.LINE_BY_LINE)]
    for name, budget, carrier in (
        (words.UP, plan.uplink, job.uplink),
        (words.DOWN, plan.downlink, job.downlink),
    ):
        parts += [
            html.H3(f"{words.BUDGET_BY_LINE}, {name}"),
            plan_parts.steps(budget_steps(budget, carrier.symbol_rate_msps), units),
            html.H3(f"{words.FADE_BY_LINE}, {name}"),
            plan_parts.steps(fade_steps(budget), units),
        ]
    return html.Details(parts)


def _sun_pictures(plan: LinkPlan, zone: ZoneInfo) -> list[Component]:
    return [
        _picture(sun_hours_picture(plan.heat, zone), words.SUN_MINUTES),
        _picture(sun_path_picture(plan, zone), words.SUN_PATH),
    ]


def _section(title: str, *parts: Component) -> Component:
    return html.Section([html.H2(title), *parts], className="sheet")


def _picture(drawn: str, title: str) -> Component:
    return html.Figure([html.Figcaption(title), html.Div(Markup(drawn), className="picture")])


def found_plan(terminal: str | None, units: DisplayUnits) -> Component:
    """The stored plan of the terminal."""
    try:
        found = plan_data(current_settings(), terminal)
    except StoreError:
        return html.P(words.COVER["no-store"])
    if found is None:
        return html.P(words.NO_PLAN)
    printed_at = PRINTED if terminal is None else f"{PRINTED}?{urlencode({'terminal': terminal})}"
    link = html.A(words.PRINT_PLAN, href=printed_at, className="print")
    return html.Div([link, plan_page(*found, units)])


def printed() -> Response:
    """The stored plan on two pages, as PDF."""
    try:
        found = plan_data(current_settings(), request.args.get("terminal"))
        if found is None:
            return Response(words.NO_PLAN, 404, mimetype="text/plain")
        job, plan = found
        sheet = module_with_extra("agent.sheet.page", words.PRINT_PLAN)
        pdf = module_with_extra("agent.report.pdf", words.PRINT_PLAN)
        data = pdf.pdf_bytes(sheet.sheet_html(plan, job, words.RULES_UNKNOWN))
    except (StoreError, UsageError) as error:
        return Response(words.NO_PRINT.format(reason=error), 503, mimetype="text/plain")
    return Response(data, mimetype="application/pdf")


def register(server: Flask) -> None:
    """Serve the page, and the two pages to print."""
    server.add_url_rule(PRINTED, "plan-to-print", printed)
    server.add_url_rule(PATH, "plan", page)
