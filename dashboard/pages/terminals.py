"""The terminals page: every terminal in the store, the most urgent first."""

import time
from dataclasses import dataclass
from typing import get_args
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component
from flask import Flask, Response, request

from agent.records import Severity
from agent.store.opening import StoreError
from agent.wording import span
from dashboard import queries, words
from dashboard.page_data.terminal import Whose, site_zone, written_age_s
from dashboard.pages import crew, shell
from dashboard.pages.aria import with_attributes
from dashboard.pages.crew_parts import level_mark
from dashboard.pages.markup import to_html
from dashboard.queries import CurrentSituation
from dashboard.settings import current_settings
from dashboard.site_time import clock_text

PATH = "/terminals"
LIST = "/terminals/list"
SCRIPT = "news.js"
# A terminal whose agent has gone silent needs a look before one that says it is merely advised.
ORDER = ("urgent", "silent", "act", "unknown", "advise", "fine")
SEVERITIES: tuple[Severity, ...] = get_args(Severity)
# As many as anybody looks through, and a phone draws without a pause.
MOST_LINES = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Sought:
    """What a list is to show: terminals and sites with this in their name, of this level; empty: all."""

    text: str = ""
    level: str = ""


def page() -> Response:
    """The page; the terminal that it was opened from stays the one of the other pages."""
    sought = asked()
    news = f"{LIST}?{urlencode({'find': sought.text, 'level': sought.level})}"
    parts = [
        html.H1(words.PAGES[PATH]),
        _form(sought),
        with_attributes(
            html.Div(found_list(sought), id="terminal-list", className="terminals"),
            {"data-news": news, "data-every-s": "5"},
        ),
    ]
    extras = shell.Extras(head=shell.script(SCRIPT))
    return shell.answer(PATH, Whose(terminal=request.args.get("terminal")), parts, extras)


def asked() -> Sought:
    """What the address asks for."""
    level = request.args.get("level", "")
    return Sought(text=request.args.get("find", "").strip(), level=level if level in ORDER else "")


def _form(sought: Sought) -> Component:
    box = dcc.Input(
        id="find", name="find", type="search", value=sought.text, maxLength=100, autoComplete="off"
    )
    names = {"": words.ALL_LEVELS, **{level: _level_name(level) for level in ORDER}}
    choices = [
        html.Option(name, value=level, selected=level == sought.level) for level, name in names.items()
    ]
    return html.Form(
        [
            html.Label(words.FIND, htmlFor="find"),
            box,
            html.Label(words.SHOW, htmlFor="level"),
            html.Select(choices, id="level", name="level"),
            html.Button(words.FIND_BUTTON),
        ],
        action=PATH,
        method="get",
        className="find typed",
    )


def _level_name(level: str) -> str:
    return words.SILENT if level == "silent" else words.LEVELS[level]


def standing(current: CurrentSituation, wall_unix_s: float) -> str:
    """The level of the situation, or `silent` where nothing comes any more."""
    settings = current_settings()
    silent = written_age_s(current, settings, wall_unix_s) > settings.silent_after_s
    if crew.is_over(current, settings, wall_unix_s):
        return current.situation.level
    return "silent" if silent else current.situation.level


def terminal_list(
    found: tuple[queries.TerminalRow, ...], wall_unix_s: float, sought: Sought = Sought()
) -> Component:
    """One line a terminal, by urgency, then by the time that is left, then by name."""
    if not found:
        return html.P(words.COVER["no-situation"])
    chosen = [row for row in found if _is_sought(row, wall_unix_s, sought)]
    ordered = sorted(chosen, key=lambda row: _rank(row, wall_unix_s))
    lines = html.Ol([_line(row, wall_unix_s) for row in ordered[:MOST_LINES]])
    if not ordered:
        return html.P(words.NONE_FOUND)
    more = len(ordered) - MOST_LINES
    return lines if more <= 0 else html.Div([lines, html.P(words.MORE.format(count=more))])


def _is_sought(row: queries.TerminalRow, wall_unix_s: float, sought: Sought) -> bool:
    name = f"{row.current.terminal} {'' if row.job is None else row.job.site.name}"
    if sought.text.casefold() not in name.casefold():
        return False
    return sought.level in ("", standing(row.current, wall_unix_s))


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
                html.P([level_mark(shown), _level_name(level)], className="level"),
                html.P(_silence(row, wall_unix_s) if silent else situation.verdict, className="what"),
                html.P("" if silent else situation.action, className="action"),
                html.P(_history(row, wall_unix_s)),
            ],
            href=shell.link(crew.PATH, row.current.terminal),
        ),
        className=f"terminal level-{shown}",
    )


def _history(row: queries.TerminalRow, wall_unix_s: float) -> str:
    """Since when the gravest alert stands, whether somebody has seen it, and when the terminal was heard."""
    heard = words.LAST_HEARD.format(span=_heard(row, wall_unix_s))
    alerts = row.current.situation.alerts
    if not alerts:
        return heard
    gravest = max(alerts, key=lambda one: SEVERITIES.index(one.event.severity))
    since = words.SINCE.format(clock=clock_text(gravest.since_unix_s, site_zone(row.job)))
    seen = words.STATES["acknowledged"] if gravest.acknowledged else words.NOT_SEEN
    return f"{since}, {seen}; {heard}"


def _heard(row: queries.TerminalRow, wall_unix_s: float) -> str:
    return span(written_age_s(row.current, current_settings(), wall_unix_s), round_down=True)


def _silence(row: queries.TerminalRow, wall_unix_s: float) -> str:
    return words.SILENT_FOR.format(
        span=_heard(row, wall_unix_s), clock=clock_text(row.current.situation.unix_s, site_zone(row.job))
    )


def found_list(sought: Sought) -> Component:
    """What stands in the store now."""
    try:
        with queries.open_store(current_settings().store) as connection:
            found = queries.terminals(connection)
    except StoreError:
        return html.P(words.COVER["no-store"])
    return terminal_list(found, time.time(), sought)


def changed() -> Response:
    """The list alone."""
    return shell.fresh(to_html(found_list(asked())))


def register(server: Flask) -> None:
    """Serve the page and its list."""
    server.add_url_rule(PATH, "terminals", page)
    server.add_url_rule(LIST, view_func=changed, endpoint="terminal-list")
