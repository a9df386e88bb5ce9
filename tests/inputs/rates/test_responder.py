"""The other end of a test of the rate, asked by Python's own HTTP client and by sockets.

Reference: RFC 9110 (2022) for the status codes; RFC 9112 (2022), sections 3.2 (the host is named), 6.3
(a length is a number) and 7.1 (bodies in chunks); RFC 6585 (2012), section 5, for a head that is too long.
"""

import http.client
import json
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from agent.cli import main
from agent.config import LOOPBACK
from tests.inputs.collectors.servers import TOKEN, responder
from tests.processes import PATIENCE_S, free_port, wait_until

BEARER = {"Authorization": f"Bearer {TOKEN}"}


@pytest.fixture(scope="module")
def port(tmp_path_factory: pytest.TempPathFactory) -> Iterator[int]:
    """Where one responder listens for all tests."""
    found = free_port()
    with responder(found, tmp_path_factory.mktemp("responder")):
        yield found


def ask(port: int, method: str, path: str, body: bytes | None = None, **headers: str) -> tuple[int, bytes]:
    """Status and body of one request."""
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=PATIENCE_S)
    try:
        connection.request(method, path, body=body, headers=headers)
        answer = connection.getresponse()
        return answer.status, answer.read(100_000)
    finally:
        connection.close()


def raw(port: int, text: bytes) -> bytes:
    """Everything that comes back until the end of the connection."""
    with socket.create_connection((LOOPBACK, port), PATIENCE_S) as connection:
        connection.sendall(text)
        connection.shutdown(socket.SHUT_WR)
        found = b""
        while data := connection.recv(65_536):
            found += data
    return found


def test_a_download_goes_on_until_the_client_has_enough(port: int) -> None:
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=PATIENCE_S)
    connection.request("GET", "/down", headers=BEARER)
    answer = connection.getresponse()
    assert answer.status == 200
    assert len(answer.read(3_000_000)) == 3_000_000
    connection.close()


@pytest.mark.parametrize("chunked", [True, False])
def test_an_upload_is_counted(port: int, chunked: bool) -> None:
    connection = http.client.HTTPConnection(LOOPBACK, port, timeout=PATIENCE_S)
    body = [b"x" * 50_000] * 20
    if chunked:
        connection.request("POST", "/up", body=iter(body), headers=BEARER, encode_chunked=True)
    else:
        connection.request("POST", "/up", body=b"".join(body), headers=BEARER)
    answer = connection.getresponse()
    assert (answer.status, json.loads(answer.read())["bytes"]) == (200, 1_000_000)
    connection.close()


@pytest.mark.parametrize("path", ["/down", "/up", "/elsewhere"])
@pytest.mark.parametrize("token", [None, "", "wrong", TOKEN[:-1], f"{TOKEN}x"])
def test_without_the_token_nothing_is_told(port: int, path: str, token: str | None) -> None:
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}
    assert ask(port, "GET", path, **headers)[0] == 401


def test_a_refused_upload_gets_its_answer(port: int) -> None:
    """However much is already under way (RFC 9112, section 9.6)."""
    assert ask(port, "POST", "/up", body=b"x" * 500_000)[0] == 401


@pytest.mark.parametrize(
    ("head", "status"),
    [
        ("GET /other HTTP/1.1", b"404"),
        ("POST /down HTTP/1.1", b"404"),
        ("POST /up HTTP/1.1", b"411"),
        ("POST /up HTTP/1.1\r\nContent-Length: -5", b"400"),
        ("HEAD /down HTTP/1.1", b"404"),
        ("POST /up HTTP/1.1\r\nTransfer-Encoding: gzip", b"501"),
        ("POST /up HTTP/1.1\r\nTransfer-Encoding: chunked", b"400"),
        ("rubbish", b"400"),
    ],
)
def test_what_is_not_served_is_refused(port: int, head: str, status: bytes) -> None:
    text = f"{head}\r\nHost: far\r\nAuthorization: Bearer {TOKEN}\r\n\r\nzz\r\n".encode()
    assert raw(port, text).split(b" ")[1] == status


def test_a_host_has_to_be_named(port: int) -> None:
    text = f"GET /down HTTP/1.1\r\nAuthorization: Bearer {TOKEN}\r\n\r\n".encode()
    assert raw(port, text).split(b" ")[1] == b"400"


def test_a_client_may_ask_before_it_sends(port: int) -> None:
    """RFC 9110, section 10.1.1."""
    head = f"POST /up HTTP/1.1\r\nHost: far\r\nAuthorization: Bearer {TOKEN}\r\nContent-Length: 2\r\n"
    with socket.create_connection((LOOPBACK, port), PATIENCE_S) as connection:
        connection.sendall(f"{head}Expect: 100-continue\r\n\r\n".encode())
        assert connection.recv(65_536).startswith(b"HTTP/1.1 100 ")
        connection.sendall(b"zz")
        assert connection.recv(65_536).startswith(b"HTTP/1.1 200 ")


def test_a_head_without_end_is_refused(port: int) -> None:
    assert raw(port, b"GET /down HTTP/1.1\r\n" + b"x" * 100_000).split(b" ")[1] == b"431"


def test_an_hour_has_a_budget(tmp_path: Path) -> None:
    port = free_port()
    with responder(port, tmp_path, hour_mb=1.0):
        assert ask(port, "POST", "/up", body=b"x" * 900_000, **BEARER)[0] == 200
        assert ask(port, "POST", "/up", body=b"x" * 900_000, **BEARER)[0] == 429


def test_it_ends_quietly_amid_an_upload(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    port = free_port()
    head = f"POST /up HTTP/1.1\r\nHost: far\r\nAuthorization: Bearer {TOKEN}\r\nContent-Length: 2\r\n"
    with responder(port, tmp_path) as process, socket.create_connection((LOOPBACK, port), PATIENCE_S) as link:
        link.sendall(f"{head}Expect: 100-continue\r\n\r\n".encode())
        assert link.recv(65_536).startswith(b"HTTP/1.1 100 ")
        process.terminate()
        process.wait(PATIENCE_S)
    assert capfd.readouterr().err == ""


def test_connections_are_bounded_and_free_again(port: int) -> None:
    many = [socket.create_connection((LOOPBACK, port), PATIENCE_S) for _ in range(40)]
    try:
        wait_until(lambda: sum(_ended(one) for one in many) == 8, PATIENCE_S, "eight of forty are refused")
    finally:
        for one in many:
            one.close()
    wait_until(lambda: ask_or_none(port) == 401, PATIENCE_S, "it answers again")


def ask_or_none(port: int) -> int | None:
    """The status, None where the connection is refused."""
    try:
        return ask(port, "GET", "/down")[0]
    except OSError:
        return None


def _ended(connection: socket.socket) -> bool:
    connection.setblocking(False)
    try:
        return connection.recv(1) == b""
    except BlockingIOError:
        return False
    except OSError:
        return True


@pytest.mark.parametrize("token", ["", "short", "with an umlaut: ä is not plain"])
def test_a_weak_token_is_not_accepted(tmp_path: Path, token: str, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "token.txt").write_text(token, encoding="utf-8")
    assert main(["respond", LOOPBACK, "--token-file", str(tmp_path / "token.txt")]) == 2
    assert "openssl rand" in capsys.readouterr().err


def test_an_address_of_another_computer_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """192.0.2.0/24 is for documentation (RFC 5737): no computer has it."""
    (tmp_path / "token.txt").write_text(TOKEN)
    assert main(["respond", "192.0.2.7", "--token-file", str(tmp_path / "token.txt")]) == 2
    assert "192.0.2.7" in capsys.readouterr().err
