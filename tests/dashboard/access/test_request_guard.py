"""Who may look, asked over HTTP as a browser or an attacker would."""

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from dashboard.__main__ import main
from dashboard.access import gate as gate_module
from dashboard.access.gate import TRIES, Gate, is_loopback, make_gate
from dashboard.access.request_guard import GUEST_MAY_ASK, MAX_BODY_BYTES, MAX_PATH, UPDATE
from dashboard.app import build_app
from dashboard.settings import Settings

PASSCODE = "salt-pan-2026"
SALT = b"salt of a test.."
HTML = {"Accept": "text/html"}


@pytest.fixture(autouse=True)
def cheap_hash(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two dozen guesses at the real cost take long."""
    monkeypatch.setitem(gate_module.COST, "n", 2**4)


@pytest.fixture
def gate() -> Gate:
    return make_gate(PASSCODE, SALT)


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    return Settings(store=tmp_path / "none.sqlite3", mqtt_host="127.0.0.1", mqtt_port=1)


@pytest.fixture
def open_door(settings: Settings) -> FlaskClient:
    """A dashboard for this computer only."""
    return build_app(settings, None).server.test_client()


@pytest.fixture
def shut_door(settings: Settings) -> Iterator[FlaskClient]:
    """A dashboard that wants a passcode."""
    with build_app(settings, make_gate(PASSCODE, SALT)).server.test_client() as client:
        yield client


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost:8050", "[::1]:8050"])
def test_this_computer_needs_no_passcode(open_door: FlaskClient, host: str) -> None:
    assert open_door.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "192.0.2.7"])
def test_a_name_that_was_rebound_to_this_computer_is_refused(open_door: FlaskClient, host: str) -> None:
    assert open_door.get("/", headers={"Host": host}).status_code == 403


def test_a_request_of_another_site_is_refused(open_door: FlaskClient) -> None:
    headers = {"Host": "127.0.0.1:8050", "Origin": "http://127.0.0.1:9999"}
    assert open_door.post("/_dash-update-component", json={}, headers=headers).status_code == 403


@pytest.mark.parametrize("path", ["/", "/day", "/_dash-layout", "/_dash-dependencies", "/_favicon.ico"])
def test_nothing_is_told_before_the_passcode(shut_door: FlaskClient, path: str) -> None:
    assert shut_door.get(path).status_code == 401
    assert shut_door.post("/_dash-update-component", json={}).status_code == 401
    answer = shut_door.get(path, headers=HTML)
    assert (answer.status_code, answer.headers["Location"]) == (302, "/enter")


def test_the_passcode_opens_and_a_wrong_one_does_not(shut_door: FlaskClient) -> None:
    assert shut_door.post("/enter", data={"passcode": "salt-pan-2025"}).status_code == 401
    assert shut_door.get("/").status_code == 401
    answer = shut_door.post("/enter", data={"passcode": PASSCODE})
    assert answer.status_code == 302
    cookie = answer.headers["Set-Cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie
    assert PASSCODE not in cookie
    assert shut_door.get("/_dash-layout").status_code == 200


def test_cookie_is_secure_where_the_connection_is(shut_door: FlaskClient) -> None:
    answer = shut_door.post("/enter", data={"passcode": PASSCODE}, base_url="https://192.0.2.7")
    assert "Secure" in answer.headers["Set-Cookie"]


def test_guessing_is_stopped_even_for_the_right_guess(shut_door: FlaskClient) -> None:
    for number in range(TRIES):
        assert shut_door.post("/enter", data={"passcode": f"guess-{number}"}).status_code == 401
    assert shut_door.post("/enter", data={"passcode": PASSCODE}).status_code == 429


def test_a_link_opens_and_outlives_a_restart(shut_door: FlaskClient, gate: Gate) -> None:
    assert shut_door.get(f"/enter?link={gate.sign('guest', time.time() + 60.0)}").status_code == 302
    assert shut_door.get("/_dash-layout").status_code == 200


@pytest.mark.parametrize("link", ["", "crew", "ImNyZXci.aaaaaa.bbbbbb", "ImNyZXci"])
def test_a_forged_link_does_not_open(shut_door: FlaskClient, link: str) -> None:
    shut_door.get("/enter", query_string={"link": link})
    assert shut_door.get("/").status_code == 401


def test_links_end_with_their_passcode(gate: Gate) -> None:
    link = gate.sign("crew", time.time() + 60.0)
    opened = gate.opened(link)
    assert opened is not None and opened[0] == "crew"
    assert make_gate("another-passcode", SALT).opened(link) is None
    assert make_gate(PASSCODE, b"another salt").opened(link) is None


def test_a_link_ends_when_it_says_and_its_holder_cannot_renew_it(shut_door: FlaskClient, gate: Gate) -> None:
    assert gate.opened(gate.sign("guest", time.time() - 1.0)) is None
    ends_unix_s = round(time.time() + 100.0)
    answer = shut_door.get(f"/enter?link={gate.sign('guest', ends_unix_s)}")
    cookie = answer.headers["Set-Cookie"].split("peakshade=")[1].split(";")[0]
    assert gate.opened(cookie) == ("guest", ends_unix_s)
    # The cookie is no better a link than the link was.
    again = shut_door.get(f"/enter?link={cookie}").headers["Set-Cookie"].split("peakshade=")[1].split(";")[0]
    assert gate.opened(again) == ("guest", ends_unix_s)


def test_one_who_guesses_slows_nobody_else(shut_door: FlaskClient) -> None:
    for number in range(TRIES):
        shut_door.post(
            "/enter", data={"passcode": f"guess-{number}"}, environ_overrides={"REMOTE_ADDR": "192.0.2.9"}
        )
    wrong = shut_door.post(
        "/enter", data={"passcode": PASSCODE}, environ_overrides={"REMOTE_ADDR": "192.0.2.9"}
    )
    assert wrong.status_code == 429
    assert shut_door.post("/enter", data={"passcode": PASSCODE}).status_code == 302


def test_a_guest_is_answered_only_what_is_listed(shut_door: FlaskClient, gate: Gate) -> None:
    """Every callback of every page: a new one is the crew's until it is listed."""
    shut_door.get(f"/enter?link={gate.sign('guest', time.time() + 60.0)}")
    app = build_app(Settings(store=Path("none"), mqtt_host="127.0.0.1", mqtt_port=1), None)
    outputs = [output for output, one in app.callback_map.items() if "callback" in one]
    assert {output.lstrip(".").split(".")[0] for output in outputs} >= GUEST_MAY_ASK
    for output in outputs:
        answer = shut_door.post(
            UPDATE, json={"output": output, "outputs": [], "inputs": [], "changedPropIds": []}
        )
        listed = output.lstrip(".").split(".")[0] in GUEST_MAY_ASK
        assert (answer.status_code == 403) == (not listed), output
    for junk in ([], {}, {"output": 5}, {"output": "..page.children@x...tune-written.children.."}, "x"):
        assert shut_door.post(UPDATE, json=junk).status_code >= 400


def test_large_bodies_and_addresses_are_refused(open_door: FlaskClient) -> None:
    """RFC 9110: 413 content too large, 414 URI too long."""
    headers = {"Host": "127.0.0.1"}
    body = b"x" * (MAX_BODY_BYTES + 1)
    answer = open_door.post(UPDATE, data=body, headers=headers, content_type="application/json")
    assert answer.status_code == 413
    assert open_door.get("/" + "x" * MAX_PATH, headers=headers).status_code == 414


def test_answers_forbid_what_the_pages_do_not_need(open_door: FlaskClient) -> None:
    headers = open_door.get("/", headers={"Host": "127.0.0.1"}).headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy and "frame-ancestors 'none'" in policy
    script = next(part for part in policy.split(";") if part.strip().startswith("script-src"))
    assert "unsafe" not in script
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert headers["Referrer-Policy"] == "same-origin"


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),  # RFC 1122 section 3.2.1.3: all of 127/8
        ("::1", True),  # RFC 4291 section 2.5.3
        ("localhost", True),
        ("0.0.0.0", False),
        ("192.0.2.7", False),
        ("localhost.evil.example", False),
        ("", False),
    ],
)
def test_loopback_addresses(host: str, loopback: bool) -> None:
    assert is_loopback(host) is loopback


@pytest.mark.parametrize("passcode", [None, "short"])
def test_beyond_this_computer_a_passcode_is_demanded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], passcode: str | None
) -> None:
    arguments = ["--store", str(tmp_path / "none.sqlite3"), "--host", "0.0.0.0"]
    if passcode is not None:
        (tmp_path / "passcode").write_text(passcode)
        arguments += ["--passcode-file", str(tmp_path / "passcode")]
    assert main(arguments) == 2
    assert "a passcode of at least 8 characters is needed" in capsys.readouterr().err
