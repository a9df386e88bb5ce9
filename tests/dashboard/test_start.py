"""The dashboard as the agent starts it: from the config, with links for phones, without secrets in sight."""

import asyncio
import os
import re
import socket
import ssl
import stat
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import psutil
import pytest
from pydantic import SecretStr

from agent.config import LOOPBACK, Config, DashboardSettings
from agent.service.page import page_environment, page_options, serve_page
from dashboard.__main__ import BROKER_PASSWORD_VARIABLE, LONGEST_PAUSE_S, PASSCODE_VARIABLE
from dashboard.access.gate import gate_of
from tests.inputs.test_mqtt import until
from tests.live import config_for
from tests.processes import PATIENCE_S, broker_at, free_port, listens, wait_until

PASSCODE = "salt-pan-2026"
# To the end of its line: a terminal gives what is there, and that may end anywhere.
LINK = re.compile(rb"(http\S+link=\S+)\r?\n")
# A computer with much other work may be slow once, not every time.
TRIES = 5


def config(folder: Path) -> Config:
    """A page that phones may reach, and a broker that wants to know who speaks."""
    (folder / "passcode.txt").write_text(PASSCODE)
    broker = replace(broker_at(free_port()), tls=True, username="crew", password=SecretStr("dry-lake"))
    page = DashboardSettings(
        port=free_port(), public_host="192.0.2.7", passcode_file=str(folder / "passcode.txt")
    )
    return replace(config_for(folder / "store.sqlite3", broker), dashboard=page)


def test_no_secret_stands_on_the_command_line(tmp_path: Path) -> None:
    made = config(tmp_path)
    options = page_options(made, 1.0)
    assert "--mqtt-tls" in options and options[options.index("--mqtt-username") + 1] == "crew"
    assert not {"dry-lake", PASSCODE} & set(options)
    assert page_environment(made)[BROKER_PASSWORD_VARIABLE] == "dry-lake"


@contextmanager
def started(made: Config, *more: str, out: int | None = None) -> Iterator[subprocess.Popen[bytes]]:
    """The dashboard with the options that the agent gives it."""
    environment = {name: text for name, text in page_environment(made).items() if name != PASSCODE_VARIABLE}
    command = [sys.executable, "-m", "dashboard", *page_options(made, 1.0), *more]
    with subprocess.Popen(command, stdout=out, stdin=subprocess.PIPE, env=environment) as process:
        try:
            wait_until(lambda: listens(made.dashboard.port), PATIENCE_S, "the dashboard listens")
            yield process
        finally:
            process.terminate()


def test_links_for_phones_are_shown_in_a_terminal_window(tmp_path: Path) -> None:
    made = config(tmp_path)
    window, screen = os.openpty()
    with started(made, out=screen):
        printed = b""
        while len(LINK.findall(printed)) < 2:
            printed += os.read(window, 65_536)
    os.close(screen)
    os.close(window)
    links = [found.decode() for found in LINK.findall(printed)]
    assert all(f"http://192.0.2.7:{made.dashboard.port}/enter" in link for link in links)
    opened = [gate_of(made.store.path, PASSCODE).opened(link.split("link=")[1]) for link in links]
    assert [one[0] for one in opened if one is not None] == ["crew", "guest"]
    salt = made.store.path.with_name(f"{made.store.path.name}.salt")
    assert stat.S_IMODE(salt.stat().st_mode) == 0o600


def test_links_do_not_stand_in_a_log(tmp_path: Path) -> None:
    made = config(tmp_path)
    printed = tmp_path / "printed.txt"
    with printed.open("w") as out, started(made, out=out.fileno()):
        wait_until(lambda: "others read this log" in printed.read_text(), PATIENCE_S, "it says why")
    assert "link=" not in printed.read_text()


def test_it_ends_with_whoever_started_it(tmp_path: Path) -> None:
    """However that ends: the pipe between them is closed by the system."""
    with started(config(tmp_path), "--ends-with-parent") as process:
        assert process.stdin is not None
        process.stdin.close()
        assert process.wait(PATIENCE_S) == 0


def test_pages_are_encrypted_with_the_user_s_certificate(tmp_path: Path) -> None:
    made = config(tmp_path)
    certificate, key = tmp_path / "own.pem", tmp_path / "own.key"
    command = "openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:prime256v1 -nodes -subj /CN=x"
    names = ["-addext", f"subjectAltName=IP:{LOOPBACK}", "-keyout", key, "-out", certificate]
    subprocess.run([*command.split(), *names], check=True, capture_output=True)
    pages = replace(made.dashboard, certificate=str(certificate), key=str(key))
    with started(replace(made, dashboard=pages)):
        trust = ssl.create_default_context(cafile=str(certificate))
        address = f"https://{LOOPBACK}:{pages.port}/enter"
        with urllib.request.urlopen(address, context=trust, timeout=PATIENCE_S) as answer:
            assert answer.status == 200 and answer.headers["Server"] == "peakshade"


def pages_of(port: int) -> list[psutil.Process]:
    """The processes below this one that serve pages at the port; other tests' may just end."""
    found = []
    for one in psutil.Process().children(recursive=True):
        with suppress(psutil.Error):
            found += [one] if str(port) in one.cmdline() else []
    return found


@pytest.mark.parametrize("which", [0, -1])
def test_pages_that_crash_are_started_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str], which: int
) -> None:
    """Whether it is the process that serves, or the one that has done the imports for it."""
    made = config(tmp_path)
    port = made.dashboard.port

    async def test() -> None:
        serving = asyncio.create_task(serve_page(made, 1.0))
        await until(lambda: listens(port))
        first = pages_of(port)
        first[which].kill()
        await until(lambda: len(pages_of(port)) == 2 and first[-1] not in pages_of(port))
        await until(lambda: listens(port))
        serving.cancel()
        await asyncio.gather(serving, return_exceptions=True)
        await until(lambda: not listens(port))
        assert pages_of(port) == []

    asyncio.run(test())
    assert ("starts again" in caplog.text) == (which == 0)
    assert ("begins again" in capfd.readouterr().err) == (which == -1)


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux has all of 127.0.0.0/8 on its loopback")
def test_requests_that_are_never_finished_hold_up_their_own_address_alone(tmp_path: Path) -> None:
    """RFC 9110 has no limit for how slowly a request may come; each keeps a thread until it is here."""
    made = config(tmp_path)
    port = made.dashboard.port

    def answers_meanwhile() -> bool:
        """Before the pages give up the first of them."""
        with ExitStack() as held:
            for _ in range(200):
                half = socket.create_connection((LOOPBACK, port), PATIENCE_S, source_address=("127.0.0.2", 0))
                held.enter_context(half).sendall(b"GET / HTTP/1.1\r\nHost: x\r\nX-Slow: ")
            began_s = time.monotonic()
            with pytest.raises(urllib.error.HTTPError, match="401"):
                urllib.request.urlopen(f"http://{LOOPBACK}:{port}/", timeout=PATIENCE_S)
            return time.monotonic() - began_s < LONGEST_PAUSE_S

    with started(made):
        assert any(answers_meanwhile() for _ in range(TRIES))
