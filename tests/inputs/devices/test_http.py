"""The HTTP input against a real local server."""

import base64
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from hashlib import md5
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from urllib.request import parse_http_list, parse_keqv_list

import pytest

from agent.config import LOOPBACK
from agent.inputs.devices.web import address_of
from agent.inputs.devices.web_login import answer, read_challenge
from tests.inputs.collectors.inputs_at_work import at_work
from tests.inputs.collectors.servers import answering
from tests.processes import PATIENCE_S, free_port, wait_until

INPUTS = f"""
[[inputs.http]]
name = "modem"
url = "http://{LOOPBACK}:PORT/status"
every_s = 0.2
timeout_s = TIMEOUT
EXTRA
[inputs.http.readings.signal]
esno_db = "/rx/esno"
locked = {{ source = "/rx/lock", words = {{ "LOCKED" = true, "SEARCHING" = false }} }}
[inputs.http.readings.temperature]
where = {{ constant = "modem" }}
temperature_degc = {{ source = "/temps/1/f", unit = "degF" }}
"""
STATUS = b'{"rx": {"esno": 13.5, "lock": "LOCKED"}, "temps": [{"f": 77}, {"f": 104}]}'


@dataclass
class Device:
    """A web server that says what a test wants it to say."""

    port: int
    body: bytes = STATUS
    status: int = 200
    headers: dict[str, str] = field(default_factory=dict)
    credentials: str | None = None
    drips: bool = False
    kept: bool = False
    nonce: str | None = None
    refused: int = 0
    server: ThreadingHTTPServer | None = None
    hold: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        """Serve in a thread."""
        device = self

        class Handler(BaseHTTPRequestHandler):
            protocol_version = "HTTP/1.1" if device.kept else "HTTP/1.0"

            def do_GET(self) -> None:
                device.answer(self)

            def log_message(self, *_: object) -> None:
                """Nothing."""

        self.server = ThreadingHTTPServer((LOOPBACK, self.port), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True).start()

    def answer(self, request: BaseHTTPRequestHandler) -> None:
        """One request."""
        if self.credentials is not None and request.headers.get("Authorization") != self.credentials:
            request.send_error(401)
            return
        if self.nonce is not None and not self.proven(request):
            self.refused += 1
            request.send_response(401)
            request.send_header("WWW-Authenticate", f'Digest realm="modem", qop="auth", nonce="{self.nonce}"')
            request.send_header("Content-Length", "0")
            request.end_headers()
            return
        request.send_response(self.status)
        if self.kept:
            request.send_header("Content-Length", str(len(self.body)))
        for name, value in self.headers.items():
            request.send_header(name, value)
        request.end_headers()
        if self.drips:
            # One byte at a time, each sooner than a time limit for a single read would notice.
            while not self.hold.wait(0.1):
                try:
                    request.wfile.write(b" ")
                except OSError:
                    return
            return
        request.wfile.write(self.body)

    def proven(self, request: BaseHTTPRequestHandler) -> bool:
        """RFC 7616, section 3.4.1, for the password of the tests."""
        given = request.headers.get("Authorization", "Digest ")
        said = parse_keqv_list(parse_http_list(given.removeprefix("Digest ")))
        if said.get("nonce") != self.nonce:
            return False
        secret, what = (
            md5(b"crew:modem:salt-pan").hexdigest(),
            md5(f"GET:{request.path}".encode()).hexdigest(),
        )
        text = f"{secret}:{self.nonce}:{said['nc']}:{said['cnonce']}:auth:{what}"
        return said["response"] == md5(text.encode()).hexdigest()

    def stop(self) -> None:
        """Close the port."""
        self.hold.set()
        if self.server is not None:
            self.server.shutdown()
            self.server.server_close()
            self.server = None


@pytest.fixture
def device() -> Iterator[Device]:
    """Not started yet."""
    made = Device(free_port())
    yield made
    made.stop()


def inputs(port: int, extra: str = "", timeout_s: float = 30.0) -> str:
    text = INPUTS.replace("PORT", str(port)).replace("EXTRA", extra)
    return text.replace("TIMEOUT", str(timeout_s))


def test_json_becomes_readings_of_two_kinds(device: Device, tmp_path: Path) -> None:
    device.start()
    with at_work(tmp_path, inputs(device.port)) as work:
        assert work.wait_for(1) == [{"esno_db": 13.5, "locked": True}]
        # 104 °F are 40 °C by the definition of the scales.
        assert work.wait_for(1, "temperature")[0] == {
            "where": "modem",
            "temperature_degc": pytest.approx(40.0),
        }


def test_text_by_a_pattern(device: Device, tmp_path: Path) -> None:
    device.body = b"<tr><td>Es/N0</td><td>12.5 dB</td></tr>\n<tr><td>State</td><td>ok</td></tr>\n"
    device.start()
    text = (
        f'[[inputs.http]]\nurl = "http://{LOOPBACK}:{device.port}/"\nformat = "text"\nevery_s = 0.2\n'
        'pattern = "Es/N0</td><td>(?P<esno>[-0-9.]+) dB"\n[inputs.http.readings.signal]\nesno_db = "esno"\n'
    )
    with at_work(tmp_path, text) as work:
        assert work.wait_for(1) == [{"esno_db": 12.5}]


@pytest.mark.parametrize(
    ("extra", "expected"),
    [
        (
            'username = "crew"\npassword_env = "DEVICE_PASSWORD"',
            # RFC 7617, section 2: user-id and password in base64.
            f"Basic {base64.b64encode(b'crew:salt-pan').decode()}",
        ),
        ('token_env = "DEVICE_PASSWORD"', "Bearer salt-pan"),  # RFC 6750, section 2.1
    ],
)
def test_credentials_from_the_environment(device: Device, tmp_path: Path, extra: str, expected: str) -> None:
    device.credentials = expected
    device.start()
    with at_work(tmp_path, inputs(device.port, extra), {"DEVICE_PASSWORD": "salt-pan"}) as work:
        work.wait_for(1)
    with at_work(tmp_path, inputs(device.port, extra), {"DEVICE_PASSWORD": "wrong"}) as work:
        error = work.wait_error("401")
        assert "refused" in error and "wrong" not in error


# RFC 7616, section 3.9.1.
MUFASA = ("Mufasa", "Circle of Life")
CNONCE = "f2/wE4q74E6zIJEtWaHKaf5wv/H5QzzpXusqGemxURZJ"
CHALLENGE = (
    'Digest realm="http-auth@example.org", qop="auth, auth-int", algorithm={}, '
    'nonce="7ypf/xlj9XXwfDPEoM4URrv/xwf94BcCAzFZH4GiTo0v", '
    'opaque="FQhe/qaU925kfnzjCev0ciny7QMkPqMAFRtzCUYo5tdS"'
)


@pytest.mark.parametrize(
    ("algorithm", "response"),
    [
        ("MD5", "8ca523f5e9506fed4657c9700eebdbec"),
        ("SHA-256", "753927fa0e85d155564e2e272a28d1802ca10daf4496794697cf8db5856cb6c1"),
    ],
)
def test_digest_as_in_the_rfc(algorithm: str, response: str) -> None:
    challenges = [
        'Basic realm="x"',
        'Digest realm="y", nonce="z", algorithm=NEW',
        CHALLENGE.format(algorithm),
    ]
    word = answer(read_challenge(challenges), MUFASA, "/dir/index.html", CNONCE, 1)
    assert f'response="{response}"' in word and "nc=00000001" in word and "qop=auth," in word


def test_digest_of_old() -> None:
    """RFC 2069, section 2.4, with the response of its erratum 749."""
    challenge = 'Digest realm="testrealm@host.com", nonce="dcd98b7102dd2f0e8b11d0f600bfb0c093"'
    word = answer(read_challenge([challenge]), ("Mufasa", "CircleOfLife"), "/dir/index.html", CNONCE, 1)
    assert 'response="1949323746fe6a43ef61f9606e7febea"' in word


@pytest.mark.parametrize("kept", [True, False], ids=["connection kept", "a connection each"])
def test_digest_is_asked_once_and_anew_after_a_restart(device: Device, tmp_path: Path, kept: bool) -> None:
    device.kept, device.nonce = kept, "first"
    device.start()
    extra = 'login = "digest"\nusername = "crew"\npassword_env = "DEVICE_PASSWORD"'
    with at_work(tmp_path, inputs(device.port, extra), {"DEVICE_PASSWORD": "salt-pan"}) as work:
        work.wait_for(3)
        assert device.refused == 1
        device.nonce = "second"
        work.wait_for(3)
        assert device.refused == 2 and work.states[0].failures == 0
    with at_work(tmp_path, inputs(device.port, extra), {"DEVICE_PASSWORD": "wrong"}) as work:
        assert "refused" in work.wait_error("401")


@pytest.mark.parametrize(
    "challenge", ["", 'Basic realm="x"', "Digest", 'Digest realm="x", nonce', "Digest ,,="]
)
def test_a_challenge_that_cannot_be_answered_is_named(device: Device, tmp_path: Path, challenge: str) -> None:
    device.status, device.headers = 401, {"WWW-Authenticate": challenge}
    device.start()
    extra = 'login = "digest"\nusername = "crew"\npassword_env = "DEVICE_PASSWORD"'
    with at_work(tmp_path, inputs(device.port, extra), {"DEVICE_PASSWORD": "salt-pan"}) as work:
        work.wait_error("known is Digest")


@pytest.mark.parametrize(
    ("said", "error"),
    [
        (b"", "without an answer"),
        (b"220 mail server\r\n", "no HTTP"),
        (b"HTTP/1.1 200 OK\r\nContent-Length: 50\r\n\r\n{", "no HTTP"),
        (b"HTTP/1.1 200 OK\r\nContent-Length: -1\r\n\r\n{}", "no HTTP"),
        (b"HTTP/1.1 200 OK\r\nTransfer-Encoding: chunked\r\n\r\nzz\r\n", "no HTTP"),
        (b"HTTP/1.1 200 OK\r\n" + b"X-Long: y\r\n" * 50_000, "no HTTP"),
        (b"HTTP/1.1 100 Continue\r\n\r\n" * 3, "no HTTP"),
    ],
)
def test_what_is_no_http(tmp_path: Path, said: bytes, error: str) -> None:
    with (
        answering(said) as port,
        at_work(tmp_path, inputs(port)) as work,
    ):
        work.wait_error(error)
        assert not work.published


@pytest.mark.parametrize(
    ("text", "named", "target"),
    [
        # RFC 3986, section 3: authority, path, query; what it does not allow is percent-encoded.
        ("http://192.0.2.1/status?key=1", "http://192.0.2.1/status", "/status?key=1"),
        ("http://modem:8080", "http://modem:8080/", "/"),
        ("https://[2001:db8::1]:443/a b/ü", "https://[2001:db8::1]/a%20b/%C3%BC", "/a%20b/%C3%BC"),
        ("https://b\u00fccher.example/%2F#end", "https://xn--bcher-kva.example/%2F", "/%2F"),
    ],
)
def test_addresses(text: str, named: str, target: str) -> None:
    address = address_of(text)
    assert address is not None and (address.named, address.target) == (named, target)


@pytest.mark.parametrize(
    "text", ["http://", "modem/status", "ftp://a/", "http://a:x/", "http://[::1/", "http://a@b/"]
)
def test_what_is_no_address(text: str) -> None:
    assert address_of(text) is None


def test_absent_slow_and_started_again(device: Device, tmp_path: Path) -> None:
    with at_work(tmp_path, inputs(device.port, timeout_s=1.0)) as work:
        assert "url and credentials" in work.wait_error(f"http://{LOOPBACK}:{device.port}/status")
        device.start()
        work.wait_for(1)
        device.drips = True
        work.wait_error("no answer in time")
        device.drips = False
        work.wait_for(1)
        device.stop()
        work.wait_error("Connect")
        device.start()
        work.wait_for(1)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"<html>login</html>", "no JSON"),
        (b"", "no JSON"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"[" * 60_000, "nested too deep"),
        (b" " * 100_000, "more than 65536"),
        (b'{"rx": {"snr": 3}}', "there is /rx/snr"),
        (b'{"rx": {"esno": 1e999}}', "esno_db"),
        (b'{"rx": {"esno": NaN}}', "esno_db"),
        (b'{"rx": {"esno": 135}}', "esno_db"),
        (b'{"rx": {"esno": "---"}}', "esno_db"),
        (b'{"rx": {"esno": 13, "lock": "maybe"}}', "one of LOCKED, SEARCHING"),
    ],
)
def test_lies_and_rubbish_are_no_readings(device: Device, tmp_path: Path, body: bytes, said: str) -> None:
    device.body = body
    device.start()
    with at_work(tmp_path, inputs(device.port)) as work:
        work.wait_error(said)
        assert not work.readings("signal")


def test_a_redirection_is_not_followed(device: Device, tmp_path: Path) -> None:
    """It might lead the credentials to another host."""
    device.status, device.headers = 302, {"Location": "https://192.0.2.1/"}
    device.start()
    with at_work(tmp_path, inputs(device.port)) as work:
        assert "https://192.0.2.1/" in work.wait_error("302")


def test_a_source_that_never_comes_is_a_finding(device: Device, tmp_path: Path) -> None:
    device.body = b'{"rx": {"esno": 13.5}, "temps": []}'
    device.start()
    with at_work(tmp_path, inputs(device.port)) as work:
        state = work.states[0]
        wait_until(lambda: state.finding is not None, PATIENCE_S, "a finding")
        assert state.state == "ok"
        assert "/temps/1/f" in str(state.finding) and "/rx/esno" in str(state.finding)
