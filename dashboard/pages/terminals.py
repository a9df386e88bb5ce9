"""The terminals page: every terminal in the store, the most urgent first."""

import time
from urllib.parse import urlencode

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from agent.store.opening import StoreError
from dashboard import queries, words
from dashboard.page_data.terminal import site_zone
from dashboard.pages import crew
from dashboard.pages.crew_parts import level_mark
from dashboard.queries import CurrentSituation
from dashboard.settings import current_settings
from dashboard.site_time import clock_text, span_text

PATH = "/terminals"
POLL_MS = 5000
# A terminal whose agent has gone silent needs a look before one that says it is merely advised.
ORDER = ("urgent", "silent", "act", "unknown", "advise", "fine")


def layout() -> Component:
    """The page with its list still empty."""
    return html.Div(
        [
            dcc.Interval(id="terminals-poll", interval=POLL_MS),
            html.H1(words.PAGES[PATH]),
            html.Div(id="terminal-list"),
        ],
        className="terminals",
    )


def standing(current: CurrentSituation, wall_unix_s: float) -> str:
    """The level of the situation, or `silent` where the agent has stopped writing."""
    silent = wall_unix_s - current.written_wall_unix_s > crew.SILENT_AFTER_S
    return "silent" if silent else current.situation.level


def terminal_list(found: tuple[queries.TerminalRow, ...], wall_unix_s: float) -> Component:
    """One line a terminal, by urgency, then by the time that is left, then by name."""
    if not found:
        return html.P(words.COVER["no-situation"])
    ordered = sorted(found, key=lambda row: _rank(row, wall_unix_s))
    return html.Ol([_line(row, wall_unix_s) for row in ordered])


def _rank(row: queries.TerminalRow, wall_unix_s: float) -> tuple[int, float, str]:
    situation = row.current.situation
    deadline_unix_s = situation.deadline_unix_s
    left_s = float("inf") if deadline_unix_s is None else deadline_unix_s - situation.unix_s
    return ORDER.index(standing(row.current, wall_unix_s)), left_s, row.current.terminal


def _line(row: queries.TerminalRow, wall_unix_s: float) -> Component:
    situation = row.current.situation
    level = standing(row.current, wall_unix_s)
    silent = level == "silent"
    shown = "unknown" if silent else level
    site = words.SITE_UNKNOWN if row.job is None else row.job.site.name
    return html.Li(
        dcc.Link(
            [
                html.P([html.Strong(row.current.terminal), " ", site], className="who"),
                html.P(
                    [level_mark(shown), words.SILENT if silent else words.LEVELS[shown]], className="level"
                ),
                html.P(_silence(row, wall_unix_s) if silent else situation.verdict, className="what"),
                html.P("" if silent else situation.action, className="action"),
            ],
            href=f"{crew.PATH}?{urlencode({'terminal': row.current.terminal})}",
        ),
        className=f"terminal level-{shown}",
    )


def _silence(row: queries.TerminalRow, wall_unix_s: float) -> str:
    span = span_text(wall_unix_s - row.current.written_wall_unix_s)
    return words.SILENT_FOR.format(
        span=span, clock=clock_text(row.current.situation.unix_s, site_zone(row.job))
    )


def refresh(_tick: int) -> Component:
    """One poll."""
    try:
        with queries.open_store(current_settings().store) as connection:
            found = queries.terminals(connection)
    except StoreError:
        return html.P(words.COVER["no-store"])
    return terminal_list(found, time.time())


def register(app: Dash) -> None:
    """Connect the page's callback."""
    app.callback(Output("terminal-list", "children"), Input("terminals-poll", "n_intervals"))(refresh)
