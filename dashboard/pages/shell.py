"""What every page has around its own part: head, list of pages, whose page it is, keys for this screen."""

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

from dash import dcc, html
from dash.development.base_component import Component
from flask import Response, request

from dashboard import hand_words, words
from dashboard.access.request_guard import current_pages, current_role
from dashboard.display_units import COOKIE
from dashboard.page_data.terminal import Whose
from dashboard.pages.aria import with_attributes
from dashboard.pages.markup import Markup, to_html
from dashboard.site_time import date_text
from dashboard.theme import style_sheet
from dashboard.travel import versioned

# The colours stand in the page itself and the theme is set before its first frame.
_PAGE = """<!DOCTYPE html>
<html lang="en" data-theme="day">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="description" content="{description}">
<title>{title}</title>
<link rel="icon" href="data:,">
<style>{style}</style>
{links}
</head>
<body class="for-{role}" data-terminal="{terminal}" data-units="{units}">
<noscript>{noscript}</noscript>
{body}
{foot}
</body>
</html>"""
# The crew's page has the time there, which moves on.
OF_ONE_DAY = ("/day", "/day/explore", "/plan", "/report")
SCRIPT = "device.js"
STYLE = "pages.css"
# Silent and dark; a browser keeps the screen on while it plays, over plain http too.
STILL = "still.mp4"


@dataclass(frozen=True, slots=True, kw_only=True)
class Extras:
    """HTML that a page adds to its head and to its end."""

    head: str = ""
    foot: str = ""


def script(name: str) -> str:
    """An asset that runs once the page is there."""
    return f'<script src="{versioned(name)}" defer></script>'


def document(path: str, whose: Whose, parts: Sequence[object], extras: Extras = Extras()) -> str:
    """A whole page as text."""
    main = Markup(f'<main id="page">{to_html(list(parts))}</main>')
    return _PAGE.format(
        title=f"{words.PAGES.get(path, '')} · {words.TITLE}".removeprefix(" · "),
        description=words.DESCRIPTION,
        style=style_sheet(),
        links=f"{head_links()}{extras.head}",
        role=current_role(),
        terminal=to_html(whose.terminal),
        units=to_html(request.cookies.get(COOKIE, "metric.")),
        noscript=words.SCRIPT_NEEDED,
        body=to_html([header(path, whose), main, device_keys()]),
        foot=extras.foot,
    )


def answer(path: str, whose: Whose, parts: Sequence[object], extras: Extras = Extras()) -> Response:
    """The page as what is sent."""
    return Response(document(path, whose, parts, extras), mimetype="text/html")


def fresh(body: str) -> Response:
    """A part of a page; a browser that has just this already is told so in a few bytes."""
    response = Response(body, mimetype="text/html", headers={"Cache-Control": "private, no-cache"})
    response.add_etag()
    response.make_conditional(request)
    return response


def refused(path: str, why: str) -> Response:
    """The page that says why there is none."""
    return Response(document(path, Whose(), [html.P(why)]), 404, mimetype="text/html")


def head_links() -> Markup:
    """The style sheet, and the script that sets the theme."""
    return Markup(
        f'<link rel="stylesheet" href="{versioned(STYLE)}"><script src="{versioned(SCRIPT)}"></script>'
    )


def header(path: str, whose: Whose) -> Component:
    """The list of pages, and whose page it is; the terminal stays when the page changes."""
    links = [
        with_attributes(
            html.A(name, href=link(page, whose.terminal)), {"aria-current": "page"} if page == path else {}
        )
        for page, name in words.PAGES.items()
        if page in current_pages()
    ]
    nav = with_attributes(html.Nav(links), {"aria-label": words.TITLE})
    return html.Header([nav, *(masthead(whose) if path in OF_ONE_DAY else [])])


def masthead(whose: Whose) -> list[Component]:
    """Terminal, site and day of the job, where they are known."""
    if whose.job is None:
        return [] if whose.terminal is None else [html.P(html.Strong(whose.terminal), className="masthead")]
    site = whose.job.site
    day = date_text(whose.job.day.start_unix_s, ZoneInfo(site.time_zone))
    parts = [html.Strong(whose.terminal), html.Span(site.name), html.Span(day, className="times")]
    return [html.P(parts, className="masthead")]


def link(path: str, terminal: str | None) -> str:
    """The address of a page of this terminal."""
    return path if terminal is None else f"{path}?{urlencode({'terminal': terminal})}"


def device_keys() -> Component:
    """What is set for this screen, in the browser."""
    keys = [
        with_attributes(html.Button(text, id=name), {"aria-pressed": "false"})
        for name, text in hand_words.DEVICE_KEYS.items()
    ]
    keys.append(html.Button(hand_words.TEST_ALARM, id="test-key"))
    said = with_attributes(
        html.P(id="device-said", role="status"),
        {f"data-{key}": text for key, text in hand_words.DEVICE_SAID.items()}
        | {"data-video": versioned(STILL)},
    )
    name = html.Div(
        [
            html.Label(hand_words.NAME_LABEL, htmlFor="my-name"),
            dcc.Input(id="my-name", type="text", maxLength=32, autoComplete="nickname"),
        ],
        className="tell remark",
    )
    parts = [html.H2(hand_words.DEVICE), html.Div(keys, className="keys"), said, name, glossary()]
    return html.Section(parts, className="device")


def glossary() -> Component:
    """What the terms of the trade mean, behind a tap."""
    terms = [html.Div([html.Dt(term), html.Dd(meaning)]) for term, meaning in hand_words.GLOSSARY.items()]
    return html.Details([html.Summary(hand_words.GLOSSARY_TITLE), html.Dl(terms)], className="glossary")
