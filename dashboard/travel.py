"""How answers travel: compressed, and kept by the browser for a year where the address has their version."""

import gzip
from functools import lru_cache
from hashlib import blake2b
from pathlib import Path

from flask import Flask, Response, request, send_from_directory

ASSETS = Path(__file__).with_name("assets")
VENDOR = Path(__file__).with_name("vendor")
# Where Dash asks for plotly's whole script; it gets the part whose kinds of lines are drawn here.
PLOTLY = "/_dash-component-suites/plotly/package_data/plotly.min.js"
PLOTLY_FILE = "plotly-basic.min.js"
YEAR_S, DAY_S = 31_536_000, 86_400
# Under it the headers weigh more than what is saved.
SMALLEST_BYTES = 500
_TEXTS = ("text/", "application/json", "application/javascript", "image/svg+xml")


def versioned(name: str) -> str:
    """The address of an asset with a digest of its content."""
    return f"/assets/{name}?v={_digest(ASSETS / name)}"


@lru_cache
def _digest(path: Path) -> str:
    return blake2b(path.read_bytes(), digest_size=6).hexdigest()


def plotly_script() -> Response:
    """The script that draws the figures that are explored."""
    return send_from_directory(VENDOR, PLOTLY_FILE, max_age=DAY_S)


def worker_script() -> Response:
    """The service worker, at the root, since it rules only over what lies below its own address."""
    return send_from_directory(ASSETS, "sw.js", max_age=0)


def set_up(server: Flask) -> None:
    """Let every answer of the server travel so."""
    server.add_url_rule("/sw.js", view_func=worker_script)
    server.add_url_rule(PLOTLY, view_func=plotly_script)
    server.after_request(pack)


def pack(response: Response) -> Response:
    """Compressed for whoever reads gzip; what does not change is compressed once."""
    lasting = "v" in request.args and request.path.startswith("/assets/")
    if lasting:
        response.headers["Cache-Control"] = f"public, max-age={YEAR_S}, immutable"
    if response.status_code != 200 or not (response.mimetype or "").startswith(_TEXTS):
        return response
    response.headers.add("Vary", "Accept-Encoding")
    if not request.accept_encodings["gzip"] or "Content-Encoding" in response.headers:
        return response
    response.direct_passthrough = False
    body = response.get_data()
    if len(body) < SMALLEST_BYTES:
        return response
    of_a_file = request.path.startswith(("/assets/", "/_dash-component-suites/"))
    response.set_data(_packed_once(body) if of_a_file else gzip.compress(body, 6))
    response.headers["Content-Encoding"] = "gzip"
    if etag := response.get_etag()[0]:
        response.set_etag(etag, weak=True)
    return response


@lru_cache
def _packed_once(body: bytes) -> bytes:
    return gzip.compress(body, 9)
