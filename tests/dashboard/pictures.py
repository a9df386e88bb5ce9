"""Draws the README's pictures anew: `python -m tests.dashboard.pictures`. The day shown is invented."""

import shutil
import sys
import tempfile
import time
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from playwright.sync_api import Browser, sync_playwright

from agent.records import AlertEvent, Note, Situation
from agent.replay.replaying import session_plan
from agent.replay.sessions import BUNDLED, read_session
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.conftest import CHROMIUM_ARGUMENTS
from tests.dashboard.conftest import dashboards
from tests.dashboard.looking import SIZES
from tests.dashboard.stores import measure, writing

FOLDER = Path(__file__).resolve().parents[2] / "dashboard" / "pictures"
SESSION = "pampa-gusts"
TERMINAL = "van-1"
# Local time of the session's site.
MOMENTS = {"crew-fine.png": "11:20", "crew-act.png": "12:16"}


def play(store: Path, clock: str) -> None:
    """The session up to this time of its day, as the agent would have stored it."""
    session = read_session(BUNDLED / SESSION)
    plan = session_plan(session)
    local = datetime.fromtimestamp(session.start_unix_s, ZoneInfo(session.job.site.time_zone))
    hour, minute = map(int, clock.split(":"))
    end_unix_s = local.replace(hour=hour, minute=minute, second=0).timestamp()
    engine = AlertEngine(session.job, plan, default_rules())
    events: list[AlertEvent] = []
    situations: list[Situation] = []
    minute_unix_s = session.start_unix_s
    readings = [reading for reading in session.readings if reading.unix_s < end_unix_s]
    for reading in readings:
        while minute_unix_s < reading.unix_s:
            events += engine.advance(minute_unix_s)
            situations.append(engine.situation())
            minute_unix_s += 60.0
        events += engine.update(reading)
    events += engine.advance(end_unix_s)
    with writing(store, TERMINAL) as writer:
        writer.save_plan(session.job, plan, "invented")
        writer.add_events(events, [*situations, engine.situation()], time.time() + 600.0)
    measure(store, "note", [reading for reading in readings if isinstance(reading, Note)], TERMINAL)


def draw(browser: Browser, address: str, path: Path) -> None:
    """The top of the crew's page on a phone."""
    width, height = SIZES["phone"]
    context = browser.new_context(viewport={"width": width, "height": height}, device_scale_factor=1.5)
    page = context.new_page()
    page.goto(address)
    page.wait_for_selector(".verdict")
    page.wait_for_load_state("networkidle")
    page.screenshot(path=path)
    context.close()


def main() -> int:
    """Draw all of them."""
    with sync_playwright() as playwright, dashboards() as start, tempfile.TemporaryDirectory() as folder:
        chromium = shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_ARGUMENTS)
        for name, clock in MOMENTS.items():
            store = Path(folder) / f"{name}.sqlite3"
            play(store, clock)
            draw(browser, start(store), FOLDER / name)
        browser.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
