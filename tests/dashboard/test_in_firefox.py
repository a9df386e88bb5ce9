"""Crew and day page in Firefox, driven by Marionette, the protocol that it speaks itself."""

import json
import shutil
import socket
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from agent.planning.compute import compute_plan
from tests.dashboard.conftest import Serve
from tests.dashboard.scenes import REPEAK, SCENES
from tests.dashboard.stores import tell, writing
from tests.plan.sample_job import job
from tests.processes import PATIENCE_S, wait_until

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


@pytest.mark.browser
def test_crew_and_day_page_work_in_firefox(serve: Serve, tmp_path: Path) -> None:
    store, profile = tmp_path / "store.sqlite3", tmp_path / "profile"
    profile.mkdir()
    with writing(store) as writer:
        writer.save_plan(job(), compute_plan(job()), "invented")
    tell(store, SCENES["act"], events=[REPEAK])
    address = serve(store)
    with firefox(profile) as window:
        for path, said in (("/", SCENES["act"].verdict), ("/day", "Re-peak the dish")):
            window.ask("WebDriver:Navigate", url=f"{address}{path}")
            seen = window.run(_SEEN)
            assert isinstance(seen, dict)
            assert said in seen["text"] and seen["lines"] > 5 and seen["overflow"] <= 0
            # The theme's paper, so that the style sheet was understood.
            assert seen["theme"] == "rgb(246, 239, 223)"
        # Half of the job's ten hours after nine.
        assert window.run(_USED) == [True, "2026-07-18 14:00:00", "2026-07-18 09:00:00"]
