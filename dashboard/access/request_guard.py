"""Every request passes here: who asks, from where, and with which headers the answer goes out."""

import time
from collections.abc import Iterator, Mapping
from html import escape
from urllib.parse import parse_qs, urlencode, urlsplit

from dash import Dash
from flask import Flask, Response, current_app, redirect, request

from dashboard import words
from dashboard.access.gate import COOKIE, VALID_S, Gate, Role, is_loopback
from dashboard.settings import current_settings
from dashboard.theme import style_sheet

ENTER = "/enter"
UPDATE = "/_dash-update-component"
# Nothing that a browser of ours sends comes near.
MAX_BODY_BYTES = 1_048_576
MAX_PATH = 2048
# What a guest may ask of Dash, by the first component that the answer is for; everything else is the crew's.
GUEST_MAY_ASK = {"explore-figure"}
DESK_PAGES = ("/", "/day", "/plan", "/terminals")
NEWS, PRINTED, DAY = "/crew/news", "/plan.pdf", "/day"
DASH = "/_dash-"
# What a link for one terminal opens: its crew looks at all its pages, a producer at the first.
PAGES_OF: Mapping[Role, tuple[str, ...]] = {"crew": ("/", "/day", "/plan"), "guest": ("/",)}
# Parts of the day page; each names its terminal.
OF_ONE_TERMINAL = ("/day/news", "/day/labels", "/day/explore")
_GATE_KEY = "PEAKSHADE_GATE"
_FORM = """<!DOCTYPE html><html lang="en" data-theme="day"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1"><title>{title}</title>
<link rel="icon" href="data:,"><style>{style}</style><link rel="stylesheet" href="/assets/pages.css"></head>
<body><main class="enter"><h1>{title}</h1><p role="alert">{said}</p><form method="post" action="{action}">
<label for="passcode">{label}</label><input id="passcode" name="passcode" type="password"
autocomplete="current-password" required autofocus><button type="submit">{button}</button></form></main>
</body></html>"""


def guard(app: Dash, gate: Gate | None) -> None:
    """Put the guard in front of the app; without a gate only this computer gets in."""
    server: Flask = app.server
    server.config[_GATE_KEY] = gate
    server.config["MAX_CONTENT_LENGTH"] = MAX_BODY_BYTES
    scripts = " ".join(app.csp_hashes())
    server.before_request(check_request)
    server.add_url_rule(ENTER, view_func=enter, methods=["GET", "POST"])

    @server.after_request
    def add_headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = (
            f"default-src 'self'; script-src 'self' {scripts}; style-src 'self' 'unsafe-inline';"
            " img-src 'self' data: blob:; frame-ancestors 'none'; base-uri 'none'; form-action 'self'"
        )
        response.headers["X-Content-Type-Options"] = "nosniff"
        # Without any referrer a browser also hides the origin of a form, which is checked here.
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["X-Frame-Options"] = "DENY"
        return response


def current_role() -> Role | None:
    """The role of whoever asks; on this computer without a gate everybody is crew.

    At a desk everybody only looks.
    """
    gate: Gate | None = current_app.config[_GATE_KEY]
    looks: Role | None = "guest" if current_settings().desk else None
    if gate is None:
        return looks or "crew"
    token = gate.opened(request.cookies.get(COOKIE))
    return None if token is None else looks or token[0]


def current_pages() -> tuple[str, ...]:
    """The addresses of the pages that whoever asks may see."""
    settings, bound = current_settings(), bound_to()
    if bound is None:
        return DESK_PAGES if settings.desk else tuple(words.PAGES)
    gate: Gate = current_app.config[_GATE_KEY]
    token = gate.opened(request.cookies.get(COOKIE))
    return PAGES_OF[token[0]] if token is not None else ()


def bound_to() -> str | None:
    """The only terminal that whoever asks may see; None: all."""
    gate: Gate | None = current_app.config[_GATE_KEY]
    return None if gate is None else gate.terminal(request.cookies.get(COOKIE))


def check_request() -> Response | None:
    """Turn away what must not pass; None lets it pass."""
    gate: Gate | None = current_app.config[_GATE_KEY]
    host = urlsplit(f"//{request.host}").hostname or ""
    # A page of another site that has its name resolve to this computer comes with that name.
    if gate is None and not is_loopback(host):
        return Response(words.WRONG_HOST, 403, mimetype="text/plain")
    origin = request.headers.get("Origin")
    if request.method == "POST" and origin is not None and urlsplit(origin).netloc != request.host:
        return Response(words.WRONG_ORIGIN, 403, mimetype="text/plain")
    if len(request.full_path) > MAX_PATH:
        return Response(words.TOO_LONG, 414, mimetype="text/plain")
    if request.path == ENTER or request.path.startswith("/assets/"):
        return None
    role = current_role()
    if role is not None:
        bound = bound_to()
        if bound is not None and request.path in (*PAGES_OF["crew"], PRINTED):
            if "terminal" not in request.args:
                return _redirect(f"{request.path}?{urlencode({'terminal': bound})}")
        if not _within(bound):
            return Response(words.OTHER_TERMINAL, 403, mimetype="text/plain")
        asks = role == "crew" or request.path != UPDATE or _first_asked() in GUEST_MAY_ASK
        return None if asks else Response(words.READ_ONLY, 403, mimetype="text/plain")
    if request.method == "GET" and "text/html" in request.headers.get("Accept", ""):
        return _redirect(ENTER)
    return Response(words.ENTER_FIRST, 401, mimetype="text/plain")


def _within(bound: str | None) -> bool:
    """Whether the page, and the terminal in everything that is asked of it, is among those allowed."""
    page = f"/{request.path.split('/')[1]}"
    if page in words.PAGES and page not in current_pages():
        return False
    if bound is None:
        return True
    asked = [*request.args.getlist("terminal"), *_asked_terminals()]
    if request.path in OF_ONE_TERMINAL:
        return asked != [] and all(one == bound for one in asked)
    explores = request.path.startswith(DASH) or request.path == PRINTED
    if request.path not in (*PAGES_OF["crew"], NEWS) and not (explores and DAY in current_pages()):
        return False
    return all(one == bound for one in asked)


def _asked_terminals() -> Iterator[str | None]:
    """The terminals in the body of a request, whether a page of ours or one of Dash's has sent it."""
    body = request.get_json(silent=True)
    if not isinstance(body, dict):
        return
    if request.path in (NEWS, *OF_ONE_TERMINAL):
        yield body.get("terminal")
    for group in ("inputs", "state"):
        for part in body.get(group, ()):
            for one in part if isinstance(part, list) else (part,):
                if isinstance(one, dict) and one.get("property") == "search":
                    yield parse_qs(str(one.get("value")).removeprefix("?")).get("terminal", [None])[0]


def _first_asked() -> str:
    """The component whose change a callback answers with, the first where there are several."""
    body = request.get_json(silent=True)
    output = body.get("output") if isinstance(body, dict) else None
    return output.lstrip(".").partition(".")[0] if isinstance(output, str) else ""


def enter() -> Response:
    """The form for the passcode; a link with a token gets in at once."""
    gate: Gate | None = current_app.config[_GATE_KEY]
    if gate is None:
        return _redirect("/")
    token = request.args.get("link")
    link = gate.opened(token)
    if link is not None:
        return _let_in(gate, *link, gate.terminal(token))
    if request.method == "GET":
        return _form("", 200)
    sender = request.remote_addr or ""
    if gate.closed(sender):
        return _form(words.TOO_MANY_TRIES, 429)
    if gate.accepts(request.form.get("passcode", ""), sender):
        return _let_in(gate, "crew", time.time() + VALID_S, None)
    return _form(words.WRONG_PASSCODE, 401)


def _let_in(gate: Gate, role: Role, ends_unix_s: float, terminal: str | None) -> Response:
    """With a cookie that ends when the link does, and is good for no more than that."""
    response = _redirect("/")
    response.set_cookie(
        COOKIE,
        gate.sign(role, ends_unix_s, terminal),
        expires=ends_unix_s,
        httponly=True,
        samesite="Strict",
        secure=request.is_secure,
    )
    return response


def _redirect(path: str) -> Response:
    response = redirect(path)
    if not isinstance(response, Response):
        raise AssertionError("Flask answers with its own response class")
    return response


def _form(said: str, status: int) -> Response:
    body = _FORM.format(
        title=escape(words.TITLE),
        style=style_sheet(),
        said=escape(said),
        action=ENTER,
        label=escape(words.PASSCODE),
        button=escape(words.ENTER_BUTTON),
    )
    return Response(body, status, mimetype="text/html")
