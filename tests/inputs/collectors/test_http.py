"""The HTTP input against a real local server."""

import base64
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest

from agent.config import LOOPBACK
from tests.inputs.collectors.inputs_at_work import at_work
from tests.processes import free_port, wait_until

INPUTS = f"""
[[inputs.http]]
name = "modem"
url = "http://{LOOPBACK}:PORT/status"
every_s = 0.2
timeout_s = 1.0
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
    server: ThreadingHTTPServer | None = None
    hold: threading.Event = field(default_factory=threading.Event)

    def start(self) -> None:
        """Serve in a thread."""
        device = self

        class Handler(BaseHTTPRequestHandler):
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
        request.send_response(self.status)
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


def inputs(device: Device, extra: str = "") -> str:
    return INPUTS.replace("PORT", str(device.port)).replace("EXTRA", extra)


def test_json_becomes_readings_of_two_kinds(device: Device, tmp_path: Path) -> None:
    device.start()
    with at_work(tmp_path, inputs(device)) as work:
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
    with at_work(tmp_path, inputs(device, extra), {"DEVICE_PASSWORD": "salt-pan"}) as work:
        work.wait_for(1)
    with at_work(tmp_path, inputs(device, extra), {"DEVICE_PASSWORD": "wrong"}) as work:
        error = work.wait_error("401")
        assert "refused" in error and "wrong" not in error


def test_absent_slow_and_started_again(device: Device, tmp_path: Path) -> None:
    with at_work(tmp_path, inputs(device)) as work:
        assert "url and credentials" in work.wait_error(f"http://{LOOPBACK}:{device.port}/status")
        device.start()
        work.wait_for(1)
        device.drips = True
        work.wait_error("no answer in time")
        device.drips = False
        work.wait_for(1)
        device.stop()
        work.wait_error("attempts failed")
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
    with at_work(tmp_path, inputs(device)) as work:
        work.wait_error(said)
        assert not work.readings("signal")


def test_a_redirection_is_not_followed(device: Device, tmp_path: Path) -> None:
    """It might lead the credentials to another host."""
    device.status, device.headers = 302, {"Location": "https://192.0.2.1/"}
    device.start()
    with at_work(tmp_path, inputs(device)) as work:
        assert "https://192.0.2.1/" in work.wait_error("302")


def test_a_source_that_never_comes_is_a_finding(device: Device, tmp_path: Path) -> None:
    device.body = b'{"rx": {"esno": 13.5}, "temps": []}'
    device.start()
    with at_work(tmp_path, inputs(device)) as work:
        state = work.states[0]
        wait_until(lambda: state.finding is not None, 15.0, "a finding")
        assert state.state == "ok"
        assert "/temps/1/f" in str(state.finding) and "/rx/esno" in str(state.finding)
