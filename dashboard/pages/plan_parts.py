"""The plan page's words and tables, from the link plan. Pure."""

from collections.abc import Sequence
from math import isnan
from zoneinfo import ZoneInfo

from dash import html
from dash.development.base_component import Component

from agent.plan.link_plan import Budget, Item, LinkPlan, Pointing, Safety, SunPass, WhatIf
from dashboard import words
from dashboard.site_time import clock_text, date_text, utc_text


def number(value: float | None, decimals: int, unit: str) -> str:
    """The number with its unit; a dash where there is none."""
    if value is None or isnan(value):
        return words.NO_NUMBER
    return f"{value:.{decimals}f}" + (unit if unit == "°" else f" {unit}".rstrip())


def answer(plan: LinkPlan) -> Component:
    """Does it work there, and what was found."""
    findings = html.Ul([html.Li(finding) for finding in plan.findings], className="evidence")
    return html.Section(
        [html.H2(words.PLAN_ANSWERS[plan.verdict.answer]), html.P(plan.verdict.reason), findings],
        className="sheet answer",
    )


def pointing(aim: Pointing) -> Component:
    """Where to point."""
    tilts = [[number(tilt.tilt_deg, 0, "°"), number(tilt.on_sky_deg, 1, "°")] for tilt in aim.base_tilts]
    return html.Div(
        [
            pairs(
                (words.AZIMUTH_TRUE, number(aim.azimuth_true_deg, 1, "°")),
                (words.AZIMUTH_MAGNETIC, _magnetic(aim)),
                (words.ELEVATION, number(aim.elevation_deg, 1, "°")),
                (words.FEED_TURN, number(aim.feed_rotation_deg, 1, "°")),
                (words.SLANT_RANGE, number(aim.slant_range_km, 0, "km")),
                (words.ROUND_TRIP, number(aim.round_trip_delay_ms, 0, "ms")),
            ),
            table(words.TILT_HEADS, tilts),
        ]
    )


def _magnetic(aim: Pointing) -> str:
    within = aim.declination_uncertainty_deg
    tail = "" if within is None else f" ± {within:.1f}°"
    return number(aim.azimuth_magnetic_deg, 1, "°") + tail


def budget(one: Budget) -> Component:
    """The sums of one direction."""
    return pairs(
        (words.ESNO_CLEAR, number(one.esno_clear_db, 1, "dB")),
        (words.ESNO_FADED, number(one.esno_faded_db, 1, "dB")),
        (words.RATE_CLEAR, _rate(one.rate_clear_mbps, one.modcod_clear)),
        (words.RATE_FADED, _rate(one.rate_faded_mbps, one.modcod_faded)),
        (words.MARGIN, number(one.margin_db, 1, "dB")),
    )


def _rate(rate_mbps: float, modcod: str | None) -> str:
    return words.NO_LINK if modcod is None else f"{rate_mbps:.2f} Mbit/s, {modcod}"


def what_if(changes: Sequence[WhatIf]) -> Component:
    """The rates after one change each."""
    rows = [
        [
            one.change,
            number(one.up_clear_mbps, 2, ""),
            number(one.up_faded_mbps, 2, ""),
            number(one.down_clear_mbps, 2, ""),
            number(one.down_faded_mbps, 2, ""),
        ]
        for one in changes
    ]
    return table(words.WHAT_IF_HEADS, rows)


def sun_passes(passes: Sequence[SunPass], zone: ZoneInfo) -> Component:
    """When the sun stands behind the satellite: leave the dish alone then."""
    if not passes:
        return html.P(words.NO_SUN_PASS)
    rows = [
        [
            date_text(one.peak_unix_s, zone),
            f"{clock_text(one.start_unix_s, zone)} to {clock_text(one.end_unix_s, zone)}",
            utc_text(one.peak_unix_s),
            number(one.depth_db, 1, "dB"),
        ]
        for one in passes
    ]
    return table(words.SUN_PASS_HEADS, rows)


def heat(plan: LinkPlan, zone: ZoneInfo) -> Component:
    """What sun and air do to the transmitter."""
    outlook = plan.heat
    by_unix_s = outlook.shade_by_unix_s
    return html.Div(
        [
            html.P(outlook.reason, className="action"),
            pairs(
                (words.SUN_HOURS, number(outlook.sun_hours, 1, "h")),
                (words.SHADE_BY, words.NOT_NEEDED if by_unix_s is None else clock_text(by_unix_s, zone)),
                (words.PEAK_UNSHADED, number(outlook.transmitter_peak_unshaded_degc, 0, "°C")),
                (words.PEAK_SHADED, number(outlook.transmitter_peak_shaded_degc, 0, "°C")),
                (words.LIMIT, number(outlook.transmitter_limit_degc, 0, "°C")),
                (words.AIR_ASSUMED if outlook.air_assumed else words.AIR, number(outlook.air_degc, 0, "°C")),
            ),
            html.P(words.HEAT_ACCURACY, className="hint"),
        ]
    )


def safety(found: Safety) -> Component:
    """Keep-out distances and cautions."""
    rows = [[one.limit, number(one.distance_m, 1, "m"), one.source] for one in found.keep_outs]
    return html.Div(
        [
            pairs(
                (words.KEEP_OUT, number(found.keep_out_m, 1, "m")),
                (words.HEAT_INDEX, number(found.heat_index_degc, 0, "°C")),
            ),
            html.Ul([html.Li(caution) for caution in found.cautions], className="evidence"),
            table(words.KEEP_OUT_HEADS, rows),
        ]
    )


def items(lines: Sequence[Item]) -> Component:
    """Every line of the budget with where it comes from."""
    rows = [[one.part, one.name, one.symbol, number(one.value, 2, one.unit), one.source] for one in lines]
    return folded(table(words.ITEM_HEADS, rows))


def folded(part: Component) -> Component:
    """A long part that opens when asked."""
    return html.Details([html.Summary(words.SHOW), part])


def pairs(*lines: tuple[str, str]) -> Component:
    """Names and values, one pair a line."""
    return html.Dl([html.Div([html.Dt(name), html.Dd(value)]) for name, value in lines], className="ages")


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> Component:
    """A plain table that scrolls sideways by itself where the screen is narrow."""
    head = html.Thead(html.Tr([html.Th(text, scope="col") for text in heads]))
    body = html.Tbody([html.Tr([html.Td(cell) for cell in row]) for row in rows])
    return html.Div(html.Table([head, body]), className="table", tabIndex=0)
