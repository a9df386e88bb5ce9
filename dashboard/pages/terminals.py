"""The terminals page: every terminal in the store, the most urgent first."""

import time

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, request

from agent.store.opening import StoreError
from agent.wording import span
from dashboard import queries, words
from dashboard.page_data.terminal import Whose, site_zone
from dashboard.pages import crew, shell
from dashboard.pages.aria import with_attributes
from dashboard.pages.crew_parts import level_mark
from dashboard.pages.markup import to_html
from dashboard.queries import CurrentSituation
from dashboard.settings import current_settings
from dashboard.site_time import clock_text

PATH = "/terminals"
LIST = "/terminals/list"
SCRIPT = "terminals.js"
# A terminal whose agent has gone silent needs a look before one that says it is merely advised.
ORDER = ("urgent", "silent", "act", "unknown", "advise", "fine")


def page() -> Response:
    """The page; the terminal that it was opened from stays the one of the other pages."""
    parts = [
        html.H1(words.PAGES[PATH]),
        with_attributes(
            html.Div(found_list(), id="terminal-list", className="terminals"), {"data-news": LIST}
        ),
    ]
    extras = shell.Extras(head=shell.script(SCRIPT))
    return shell.answer(PATH, Whose(terminal=request.args.get("terminal")), parts, extras)


def standing(current: CurrentSituation, wall_unix_s: float) -> str:
    """The level of the situation, or `silent` where the agent has stopped writing."""
    silent = wall_unix_s - current.written_wall_unix_s > crew.SILENT_AFTER_S
    if crew.is_over(current, current_settings(), wall_unix_s):
        return current.situation.level
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
        html.A(
            [
                html.P([html.Strong(row.current.terminal), " ", site], className="who"),
                html.P(
                    [level_mark(shown), words.SILENT if silent else words.LEVELS[shown]], className="level"
                ),
                html.P(_silence(row, wall_unix_s) if silent else situation.verdict, className="what"),
                html.P("" if silent else situation.action, className="action"),
            ],
            href=shell.link(crew.PATH, row.current.terminal),
        ),
        className=f"terminal level-{shown}",
    )


def _silence(row: queries.TerminalRow, wall_unix_s: float) -> str:
    silent = span(wall_unix_s - row.current.written_wall_unix_s, round_down=True)
    return words.SILENT_FOR.format(
        span=silent, clock=clock_text(row.current.situation.unix_s, site_zone(row.job))
    )


def found_list() -> Component:
    """What stands in the store now."""
    try:
        with queries.open_store(current_settings().store) as connection:
            found = queries.terminals(connection)
    except StoreError:
        return html.P(words.COVER["no-store"])
    return terminal_list(found, time.time())


def changed() -> Response:
    """The list alone."""
    return Response(to_html(found_list()), mimetype="text/html")


def register(server: Flask) -> None:
    """Serve the page and its list."""
    server.add_url_rule(PATH, "terminals", page)
    server.add_url_rule(LIST, view_func=changed, endpoint="terminal-list")
