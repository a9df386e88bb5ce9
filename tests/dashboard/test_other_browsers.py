"""Crew and day page in Firefox and WebKit, by the protocol that each speaks: Marionette and WebDriver."""

import json
import os
import shutil
import signal
import socket
import subprocess
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import Protocol
from urllib.request import Request, urlopen

import pytest

from agent.planning.compute import compute_plan
from tests.dashboard.conftest import Serve
from tests.dashboard.scenes import REPEAK, SCENES
from tests.dashboard.stores import tell, writing
from tests.plan.sample_job import job
from tests.processes import PATIENCE_S, free_port, listens, wait_until

HALF = datetime(2026, 7, 18, 14)
# Firefox asks nobody at its first start and takes a free port.
_SETTINGS = (
    'user_pref("marionette.port", 0);\nuser_pref("datareporting.policy.dataSubmissionEnabled", false);\n'
    'user_pref("app.normandy.enabled", false);\nuser_pref("network.captive-portal-service.enabled", false);\n'
)
_SEEN = """return {
  overflow: document.documentElement.scrollWidth - innerWidth,
  title: document.title,
  text: document.getElementById("page").innerText,
  lines: document.querySelectorAll("svg path").length,
  theme: getComputedStyle(document.body).backgroundColor,
}"""
_USED = """
  document.querySelector("#day-alerts summary").click();
  const plot = document.querySelector("#day-figure .plot");
  const box = plot.getBoundingClientRect();
  const at = { bubbles: true, button: 0, clientX: box.left + box.width / 2, clientY: box.top + 9 };
  for (const name of ["pointerdown", "pointerup"]) plot.dispatchEvent(new PointerEvent(name, at));
  return [
    document.querySelector("#day-alerts details").open,
    document.getElementById("day-time").value,
    document.getElementById("label-start").value,
  ]"""


class Window(Protocol):
    """Of a browser."""

    def open(self, url: str) -> None:
        """Go there; on return the page is loaded."""

    def run(self, script: str) -> object:
        """What the script returns in the page."""


class Firefox:
    """One window of it."""

    def __init__(self, port: int) -> None:
        self._socket = socket.create_connection(("127.0.0.1", port), PATIENCE_S)
        self._answers = self._socket.makefile("rb")
        self._count = 0
        self._read()
        self.ask("WebDriver:NewSession")

    def ask(self, command: str, **parameters: object) -> object:
        """The answer; AssertionError for an error."""
        self._count += 1
        message = json.dumps([0, self._count, command, parameters]).encode()
        self._socket.sendall(b"%d:%b" % (len(message), message))
        _kind, _number, error, answer = self._read()
        assert error is None, error
        return answer

    def open(self, url: str) -> None:
        """Go there; on return the page is loaded."""
        self.ask("WebDriver:Navigate", url=url)

    def run(self, script: str) -> object:
        """What the script returns in the page."""
        answer = self.ask("WebDriver:ExecuteScript", script=script, args=[])
        assert isinstance(answer, dict)
        return answer["value"]

    def _read(self) -> list[object]:
        length = b""
        while (byte := self._answers.read(1)) != b":":
            length += byte
        found: list[object] = json.loads(self._answers.read(int(length)))
        return found

    def close(self) -> None:
        self._answers.close()
        self._socket.close()


class WebKit:
    """One window of its small browser."""

    def __init__(self, port: int) -> None:
        self._address = f"http://127.0.0.1:{port}/session"
        options = {"browserName": "MiniBrowser", "webkitgtk:browserOptions": {"args": ["--automation"]}}
        session = self._post("", capabilities={"alwaysMatch": options})
        assert isinstance(session, dict)
        self._address += f"/{session['sessionId']}"

    def open(self, url: str) -> None:
        """Go there; on return the page is loaded."""
        self._post("/url", url=url)

    def run(self, script: str) -> object:
        """What the script returns in the page."""
        return self._post("/execute/sync", script=script, args=[])

    def _post(self, path: str, **parameters: object) -> object:
        body = json.dumps(parameters).encode()
        request = Request(self._address + path, body, {"Content-Type": "application/json"})
        with urlopen(request, timeout=PATIENCE_S) as answer:
            return json.load(answer)["value"]


@contextmanager
def webkit(folder: Path) -> Iterator[WebKit]:
    """A browser of its own on a screen of its own, drawn without a graphics card; ended on the way out."""
    absent = [name for name in ("WebKitWebDriver", "xvfb-run", "dbus-run-session") if not shutil.which(name)]
    if absent:
        pytest.skip(f"no {absent[0]} on the path (Debian packages: webkit2gtk-driver, xvfb, dbus-daemon)")
    port = free_port()
    command = ["xvfb-run", "-a", "dbus-run-session", "--", "WebKitWebDriver", f"--port={port}"]
    alone = {
        "WEBKIT_DISABLE_COMPOSITING_MODE": "1",
        "WEBKIT_DISABLE_DMABUF_RENDERER": "1",
        # Its own sandbox asks for rights that a container lacks.
        "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1",
        "LIBGL_ALWAYS_SOFTWARE": "1",
        "GDK_BACKEND": "x11",
        "GSETTINGS_BACKEND": "memory",
        "NO_AT_BRIDGE": "1",
        "HOME": str(folder),
        "XDG_RUNTIME_DIR": str(folder),
    }
    quiet = subprocess.DEVNULL
    process = subprocess.Popen(
        command, env=os.environ | alone, stdout=quiet, stderr=quiet, start_new_session=True
    )
    try:
        wait_until(lambda: listens(port), PATIENCE_S, "WebKit's driver")
        yield WebKit(port)
    finally:
        os.killpg(process.pid, signal.SIGTERM)
        process.wait(PATIENCE_S)


@contextmanager
def firefox(folder: Path) -> Iterator[Firefox]:
    """A browser of its own, ended on the way out."""
    program = shutil.which("firefox-esr") or shutil.which("firefox")
    if program is None:
        pytest.skip("no firefox binary on the path (Debian package: firefox-esr)")
    (folder / "user.js").write_text(_SETTINGS)
    command = [program, "--headless", "--no-remote", "--profile", str(folder), "--marionette"]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    port_file = folder / "MarionetteActivePort"
    try:
        wait_until(lambda: port_file.is_file() and port_file.read_text() != "", PATIENCE_S, "Firefox")
        with closing(Firefox(int(port_file.read_text()))) as window:
            yield window
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


Browser = Callable[[Path], AbstractContextManager[Window]]


@pytest.mark.browser
@pytest.mark.parametrize("browser", [firefox, webkit])
def test_crew_and_day_page_work(serve: Serve, tmp_path: Path, browser: Browser) -> None:
    store, profile = tmp_path / "store.sqlite3", tmp_path / "profile"
    profile.mkdir(mode=0o700)
    with writing(store) as writer:
        writer.save_plan(job(), compute_plan(job()), "invented")
    tell(store, SCENES["act"], events=[REPEAK])
    address = serve(store)
    with browser(profile) as window:
        for path, said in (("/", SCENES["act"].verdict), ("/day", "Re-peak the dish")):
            window.open(f"{address}{path}")
            seen = window.run(_SEEN)
            assert isinstance(seen, dict)
            assert said in seen["text"] and seen["lines"] > 5 and seen["overflow"] <= 0
            # The theme's paper, so that the style sheet was understood.
            assert seen["theme"] == "rgb(246, 239, 223)"
        opened, chosen, start = window.run(_USED)  # type: ignore[misc]
        assert opened and start == "2026-07-18 09:00:00"
        # Half of the job's ten hours after nine, to the pixel.
        assert abs((datetime.fromisoformat(chosen) - HALF).total_seconds()) < 60.0
