"""How answers travel: small, and kept where their address has their version."""

import gzip
import re
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import pytest
from flask.testing import FlaskClient
from werkzeug.datastructures import Headers

from dashboard.app import build_app
from dashboard.settings import Settings
from dashboard.travel import PLOTLY, VENDOR

HERE = {"Host": "127.0.0.1"}
READS_GZIP = {"Host": "127.0.0.1", "Accept-Encoding": "gzip, deflate, br"}


class Answer(NamedTuple):
    """What came back."""

    status: int
    headers: Headers
    body: bytes


@pytest.fixture
def client(tmp_path: Path) -> FlaskClient:
    settings = Settings(store=tmp_path / "none.sqlite3", mqtt_host="127.0.0.1", mqtt_port=1)
    return build_app(settings, None).server.test_client()


def got(client: FlaskClient, path: str, headers: Mapping[str, str] = READS_GZIP) -> Answer:
    """Status, headers and body; the file behind it is let go of."""
    with client.get(path, headers=dict(headers)) as response:
        return Answer(response.status_code, response.headers, response.data)


def test_pages_and_scripts_are_compressed_for_whoever_reads_that(client: FlaskClient) -> None:
    plain = got(client, "/", HERE)
    packed = got(client, "/")
    assert "Content-Encoding" not in plain.headers
    assert packed.headers["Content-Encoding"] == "gzip"
    assert "Accept-Encoding" in packed.headers["Vary"]
    assert gzip.decompress(packed.body) == plain.body
    assert len(packed.body) < len(plain.body) / 2


def test_what_a_page_links_is_kept_for_a_year_and_comes_from_here(client: FlaskClient) -> None:
    page = got(client, "/")
    links = re.findall(r'(?:src|href)="([^"]+)"', gzip.decompress(page.body).decode())
    assets = [link for link in links if link.startswith("/assets/")]
    assert len(assets) == 4
    assert [link for link in links if not link.startswith(("/", "data:,"))] == []
    for asset in assets:
        headers = got(client, asset).headers
        assert headers["Cache-Control"] == "public, max-age=31536000, immutable"
    assert "immutable" not in got(client, "/assets/pages.css").headers["Cache-Control"]


def test_an_asset_without_change_is_not_sent_again(client: FlaskClient) -> None:
    first = got(client, PLOTLY)
    again = got(client, PLOTLY, {**READS_GZIP, "If-None-Match": first.headers["ETag"]})
    assert (first.status, again.status, again.body) == (200, 304, b"")


def test_the_script_of_the_figures_is_the_part_that_is_used(client: FlaskClient) -> None:
    """Its licence (MIT) asks that it goes along."""
    script = got(client, PLOTLY)
    assert len(script.body) < 450_000
    assert gzip.decompress(script.body)[:40].startswith(b"/**\n* plotly.js (basic - minified)")
    assert "MIT" in (VENDOR / "plotly-basic.LICENSE").read_text()
