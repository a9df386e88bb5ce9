"""The evening's page in a browser: a real store, the real command, files that other programs read."""

import io
import json
import zipfile
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect
from pydantic import TypeAdapter

from agent.job import Job
from agent.plan.plan_json import plan_to_json
from agent.records import KINDS
from agent.replay.replaying import session_plan
from agent.store.writer import Arrival, StoreWriter
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.dashboard.conftest import Serve
from tests.dashboard.looking import SIZES, check_looks, visit
from tests.report.days import bundled_session, cut

pytestmark = pytest.mark.browser

KIND_OF = {record: kind for kind, record in KINDS.items()}
READINGS = 1500
SMALLEST_TARGET_PX = 48.0
# A quick computer has the report before anybody looks.
WATCH_PROGRESS = """() => {
  const bar = document.getElementById("report-progress");
  new MutationObserver(() => { window.showed ||= !bar.hidden; }).observe(bar, { attributes: true });
}"""
ALL = {"Open the report", "Summary as text", "Tables as CSV", "Tables as Parquet"}


@pytest.fixture(scope="module")
def address(module_serve: Serve, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A dashboard over the beginning of a bundled day."""
    session = cut(bundled_session("salt-pan-summer"), READINGS)
    path: Path = tmp_path_factory.mktemp("evening") / "store.sqlite3"
    plan = session_plan(session)
    writer = StoreWriter.open(path, "van-1", session.start_unix_s)
    texts = TypeAdapter(Job).dump_json(session.job).decode(), json.dumps(plan_to_json(plan))
    writer.connection.execute("INSERT INTO plan VALUES ('van-1', 'a digest', ?, ?)", texts)
    arrivals = [
        Arrival(f"peakshade/van-1/{kind}", str(number).encode(), kind, one, one.unix_s)
        for number, one in enumerate(session.readings)
        for kind in (KIND_OF[type(one)],)
    ]
    writer.add(arrivals, lambda reading, _received_unix_s: reading)
    engine = AlertEngine(session.job, plan, default_rules())
    engine.advance(session.start_unix_s + 20.0)
    writer.add_events([], [engine.situation()], 0.0)
    writer.close()
    return module_serve(path, 1, "--terminal", "van-1")


@pytest.mark.parametrize("size", SIZES)
def test_the_report_is_made_and_handed_on(browser: Browser, address: str, size: str) -> None:
    """Made once, on the phone; the desktop finds it there."""
    with visit(browser, f"{address}/report?terminal=van-1", size) as seen:
        page = seen.page
        if size == "phone":
            tap = page.get_by_role("button", name="2026-07-18")
            expect(tap).to_have_attribute("aria-pressed", "true")
            tap.click()
            page.get_by_role("button", name="Make the report").click()
            expect(page.locator("#report-said")).to_have_text("Tap a day first.")
            tap.click()
            page.evaluate(WATCH_PROGRESS)
            page.get_by_role("button", name="Make the report").click()
        expect(page.locator("#report-summary")).to_contain_text("Data used: ")
        if size == "phone":
            assert page.evaluate("window.showed")
        assert len(page.locator("#report-summary").inner_text().strip().splitlines()) == 10
        assert ALL <= set(page.locator("#report-result li").all_text_contents())
        page.get_by_role("button", name="Copy").click()
        expect(page.locator("#report-copied")).to_have_text("Copied.")
        for name, ending, starts in (("CSV", ".csv", b""), ("Parquet", ".parquet", b"PAR1")):
            link = page.get_by_role("link", name=f"Tables as {name}").get_attribute("href")
            body = page.request.get(f"{address}{link}").body()
            with zipfile.ZipFile(io.BytesIO(body)) as archive:
                assert f"figures{ending}" in archive.namelist()
                assert archive.read(f"figures{ending}").startswith(starts)
        check_looks(seen, address, SMALLEST_TARGET_PX)
