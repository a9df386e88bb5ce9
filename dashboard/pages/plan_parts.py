"""The plan page's words and tables, from the link plan. Pure."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from agent.heat.outlook import heat_reason
from agent.job import Job
from agent.link_plan import Budget, Item, LinkPlan, Pointing, Safety, SunPass, WhatIf
from agent.plan.aiming import feed_turn
from agent.plan.present import findings_count
from agent.wording import capital
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.site_time import clock_text, date_text, utc_text


def answer(plan: LinkPlan) -> Component:
    """Does it work there, and what was found."""
    parts = [html.H2(words.PLAN_ANSWERS[plan.verdict.answer]), html.P(capital(plan.verdict.reason))]
    if plan.findings:
        parts.append(html.P(f"{findings_count(plan)}:"))
        parts.append(html.Ul([html.Li(finding) for finding in plan.findings], className="evidence"))
    return html.Section(parts, className="sheet answer")


def pointing(aim: Pointing, job: Job, units: DisplayUnits = METRIC) -> Component:
    """Where to point."""
    tilts = [
        [units.number(tilt.tilt_deg, 0, "°"), units.number(tilt.on_sky_deg, 1, "°")]
        for tilt in aim.base_tilts
    ]
    return html.Div(
        [
            html.P(feed_turn(aim, job)),
            pairs(
                (words.AZIMUTH_TRUE, units.number(aim.azimuth_true_deg, 1, "°")),
                (words.AZIMUTH_MAGNETIC, _magnetic(aim, units)),
                (words.ELEVATION, units.number(aim.elevation_deg, 1, "°")),
                (words.SLANT_RANGE, units.number(aim.slant_range_km, 0, "km")),
                (words.ROUND_TRIP, units.number(aim.round_trip_delay_ms, 0, "ms")),
            ),
            html.Details([html.Summary(words.TILTS), table(words.TILT_HEADS, tilts)]),
        ]
    )


def _magnetic(aim: Pointing, units: DisplayUnits) -> str:
    within = aim.declination_uncertainty_deg
    tail = "" if within is None else f" ± {units.number(within, 1, '°')}"
    return units.number(aim.azimuth_magnetic_deg, 1, "°") + tail


def budgets(up: Budget, down: Budget, units: DisplayUnits = METRIC) -> Component:
    """The sums of both directions side by side."""
    rows = [
        [name, *(said(one, units) for one in (up, down))]
        for name, said in (
            (words.ESNO_CLEAR, lambda one, units: units.number(one.esno_clear_db, 1, "dB")),
            (words.ESNO_FADED, lambda one, units: units.number(one.esno_faded_db, 1, "dB")),
            (words.RATE_CLEAR, lambda one, units: _rate(one.rate_clear_mbps, one.modcod_clear, units)),
            (words.RATE_FADED, lambda one, units: _rate(one.rate_faded_mbps, one.modcod_faded, units)),
            (words.MARGIN, lambda one, units: units.number(one.margin_db, 1, "dB")),
        )
    ]
    return table(words.LINK_HEADS, rows)


def steps(lines: Sequence[tuple[str, float]], units: DisplayUnits = METRIC) -> Component:
    """What adds up to the last line."""
    last = len(lines) - 1
    said = [
        (
            name,
            units.marked(f"{value_db:{'.1f' if number in (0, last) else '+.1f'}} dB".replace("-", "\u2212")),
        )
        for number, (name, value_db) in enumerate(lines)
    ]
    return pairs(*said)


def _rate(rate_mbps: float, modcod: str | None, units: DisplayUnits) -> str:
    return words.NO_LINK if modcod is None else f"{units.number(rate_mbps, 2, 'Mbit/s')}, {modcod}"


def what_if(changes: Sequence[WhatIf], units: DisplayUnits = METRIC) -> Component:
    """The rates after one change each."""
    rows = [
        [
            one.change,
            units.number(one.up_clear_mbps, 2, ""),
            units.number(one.up_faded_mbps, 2, ""),
            units.number(one.down_clear_mbps, 2, ""),
            units.number(one.down_faded_mbps, 2, ""),
        ]
        for one in changes
    ]
    return table(words.WHAT_IF_HEADS, rows)


def sun_passes(passes: Sequence[SunPass], zone: ZoneInfo, units: DisplayUnits = METRIC) -> Component:
    """When the sun stands behind the satellite: leave the dish alone then."""
    if not passes:
        return html.P(words.NO_SUN_PASS)
    rows = [
        [
            date_text(one.peak_unix_s, zone),
            f"{clock_text(one.start_unix_s, zone)} to {clock_text(one.end_unix_s, zone)}",
            utc_text(one.peak_unix_s),
            units.number(one.depth_db, 1, "dB"),
        ]
        for one in passes
    ]
    return table(words.SUN_PASS_HEADS, rows)


def heat(plan: LinkPlan, zone: ZoneInfo, units: DisplayUnits = METRIC) -> list[Component]:
    """What sun and air do to the transmitter; what it was computed from, folded."""
    outlook = plan.heat
    by_unix_s = outlook.shade_by_unix_s
    figures = pairs(
        (words.SUN_HOURS, units.number(outlook.sun_hours, 1, "h")),
        (words.PEAK_UNSHADED, units.number(outlook.transmitter_peak_unshaded_degc, 0, "°C")),
        (words.PEAK_SHADED, units.number(outlook.transmitter_peak_shaded_degc, 0, "°C")),
        (words.LIMIT, units.number(outlook.transmitter_limit_degc, 0, "°C")),
        (
            words.AIR_ASSUMED if outlook.air_assumed else words.AIR,
            units.number(outlook.air_degc, 0, "°C"),
        ),
    )
    return [
        html.P(heat_reason(outlook, units.reader(zone)), className="action"),
        pairs((words.SHADE_BY, words.NOT_NEEDED if by_unix_s is None else clock_text(by_unix_s, zone))),
        html.Details(
            [html.Summary(words.HEAT_FIGURES), figures, html.P(words.HEAT_ACCURACY, className="hint")]
        ),
    ]


def safety(found: Safety, units: DisplayUnits = METRIC) -> list[Component]:
    """Keep-out distances and cautions; the beam's own stands open."""
    rows = [[one.limit, units.number(one.distance_m, 0, "m"), one.source] for one in found.keep_outs]
    first, *others = found.cautions
    return [
        pairs(
            (words.KEEP_OUT, units.number(found.keep_out_m, 0, "m")),
            (words.HEAT_INDEX, units.number(found.heat_index_degc, 0, "°C")),
        ),
        html.P(first),
        html.Details(
            [
                html.Summary(words.ALL_CAUTIONS.format(count=len(others))),
                html.Ul([html.Li(caution) for caution in others], className="evidence"),
                table(words.KEEP_OUT_HEADS, rows),
            ]
        ),
    ]


def items(lines: Sequence[Item], units: DisplayUnits = METRIC) -> Component:
    """Every line of the budget with where it comes from."""
    rows = [
        [one.part, one.name, one.symbol, units.number(one.value, 2, one.unit), one.source] for one in lines
    ]
    return table(words.ITEM_HEADS, rows)


def folded(title: str, *parts: Component) -> Component:
    """A section that opens when asked."""
    return html.Section(html.Details([html.Summary(html.H2(title)), *parts]), className="sheet folded")


def pairs(*lines: tuple[str, str]) -> Component:
    """Names and values, one pair a line."""
    return html.Dl([html.Div([html.Dt(name), html.Dd(value)]) for name, value in lines], className="ages")


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Component:
    """A plain table that scrolls sideways by itself where the screen is narrow."""
    head = html.Thead(html.Tr([html.Th(text, scope="col") for text in heads]))
    body = html.Tbody([html.Tr([html.Td(cell) for cell in row]) for row in rows])
    return html.Div(html.Table([head, body]), className="table", tabIndex=0)
