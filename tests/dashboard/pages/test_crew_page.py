"""The crew's page in a real browser, over a real store and a real broker."""

import re
import time
from contextlib import AbstractContextManager
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

import pytest
from playwright.sync_api import Browser, Page, Response, expect

from agent.inputs.messages import reading_topic
from agent.records import Note
from dashboard.pages.crew import NEWS
from dashboard.settings import SILENT_AFTER_S
from dashboard.theme import THEMES
from tests.dashboard.conftest import Heard, Serve
from tests.dashboard.looking import SIZES, check_looks, visit
from tests.dashboard.scenes import NOW_UNIX_S, SCENES, TERMINAL
from tests.dashboard.stores import NEVER_SILENT_S, measure, tell, writing
from tests.processes import Mosquitto

pytestmark = pytest.mark.browser

# WCAG 2.2 success criterion 2.5.5 asks for 44 px; the crew wears gloves.
SMALLEST_TARGET_PX = 48.0


# So many seconds pass on the phone.
LATER = "(seconds) => { const now = Date.now; Date.now = () => now() + 1000 * seconds; }"


class Captured(Protocol):
    """What `expect_response` gives: the response, once it is there."""

    @property
    def value(self) -> Response: ...


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "store.sqlite3"


@pytest.fixture(scope="module")
def scenes_address(module_serve: Serve, tmp_path_factory: pytest.TempPathFactory) -> str:
    """A dashboard over every scene, each told by a terminal of its name a while ahead of the clock."""
    path = tmp_path_factory.mktemp("scenes") / "store.sqlite3"
    for name, situation in SCENES.items():
        tell(path, situation, terminal=name)
    return module_serve(path)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scene", SCENES)
def test_every_situation_can_be_read(browser: Browser, scenes_address: str, scene: str, size: str) -> None:
    with visit(browser, f"{scenes_address}/?terminal={scene}", size) as seen:
        expect(seen.page.locator(".verdict h1")).to_have_text(SCENES[scene].verdict)
        expect(seen.page.locator("#cover")).to_be_hidden()
        expect(seen.page.locator("#graph-signal svg")).to_be_visible()
        check_looks(seen, scenes_address, SMALLEST_TARGET_PX)


def test_night_theme_can_be_read_and_is_kept(browser: Browser, scenes_address: str) -> None:
    with visit(browser, f"{scenes_address}/?terminal=urgent") as seen:
        expect(seen.page.locator(".verdict h1")).to_be_visible()
        seen.page.click("#theme-key")
        expect(seen.page.locator("html")).to_have_attribute("data-theme", "night")
        assert seen.weak_texts() == {}
        line = seen.page.locator("#graph-signal path").last
        expect(line).to_have_css("stroke", css_rgb(THEMES["night"].measured))
        seen.page.reload()
        expect(seen.page.locator("html")).to_have_attribute("data-theme", "night")


def css_rgb(colour: str) -> str:
    """`#0a0b0c` as a browser computes it: `rgb(10, 11, 12)`."""
    return f"rgb({int(colour[1:3], 16)}, {int(colour[3:5], 16)}, {int(colour[5:7], 16)})"


def test_verdict_says_what_to_do_and_how_long_there_is(browser: Browser, scenes_address: str) -> None:
    with visit(browser, f"{scenes_address}/?terminal=act") as seen:
        verdict = seen.page.locator(".verdict")
        expect(verdict).to_contain_text("Re-peak the dish: azimuth first, small steps.")
        expect(verdict.locator(".left")).to_have_text("25 min left")
        expect(seen.page.locator("#next")).to_contain_text("sun pass in 40 min, at 12:16")
        # No plan is stored, so the time at the site is not known.
        expect(seen.page.locator(".times")).to_have_text("11:36 UTC")
        expect(seen.page.locator("#caption-signal")).to_contain_text("10.4 dB")
        expect(seen.page.locator("#ages")).to_contain_text("2 min ago")


def test_the_clock_goes_on_by_itself_and_stands_without_contact(
    browser: Browser, serve: Serve, store: Path
) -> None:
    """The agent's last word is of 11:36:50 UTC and eight seconds old."""
    tell(store, replace(SCENES["fine"], unix_s=NOW_UNIX_S + 50.0), written_wall_unix_s=time.time() - 8.0)
    with visit(browser, serve(store, 1, "--silent-after-s", "600")) as seen:
        expect(seen.page.locator(".times")).to_have_text("11:37 UTC")
        seen.page.context.set_offline(True)
        seen.page.evaluate("() => { const now = Date.now; Date.now = () => now() + 3600000; }")
        expect(seen.page.locator("#cover")).to_be_visible()
        expect(seen.page.locator(".times")).to_have_text("11:37 UTC")


@pytest.mark.mosquitto
def test_seen_button_reaches_the_broker(
    browser: Browser, serve: Serve, store: Path, mosquitto: Mosquitto, heard: Heard
) -> None:
    tell(store, SCENES["act"])
    with visit(browser, serve(store, mosquitto.port)) as seen:
        assert seen.page.locator("#verdict + .delivery").evaluate("line => line.offsetHeight") == 0
        seen.page.get_by_role("button", name="Seen").click()
        topic, body = heard()
        assert topic == reading_topic(TERMINAL, "acknowledge")
        assert body["rule"] == "repeak"
        assert NOW_UNIX_S <= rfc3339_unix_s(body["time"]) < NOW_UNIX_S + 60.0
        expect(seen.page.locator(".delivery:not(:empty)")).to_contain_text(
            "Delivered: seen, Re-peak the dish"
        )


@pytest.mark.mosquitto
def test_quiet_needs_a_reason(
    browser: Browser, serve: Serve, store: Path, mosquitto: Mosquitto, heard: Heard
) -> None:
    tell(store, SCENES["act"])
    with visit(browser, serve(store, mosquitto.port)) as seen:
        seen.page.get_by_text("What shows it").click()
        seen.page.get_by_role("button", name="We are on it").click()
        _topic, body = heard()
        assert (body["snooze_s"], body["reason"]) == (1800.0, "We are on it")


@pytest.mark.mosquitto
def test_note_and_remark_reach_the_broker(
    browser: Browser, serve: Serve, store: Path, mosquitto: Mosquitto, heard: Heard
) -> None:
    tell(store, SCENES["fine"])
    with visit(browser, serve(store, mosquitto.port)) as seen:
        seen.page.get_by_role("button", name="Peaking done").click()
        topic, body = heard()
        assert (topic, body["kind"]) == (reading_topic(TERMINAL, "note"), "peak-done")
        seen.page.get_by_label("A remark in your own words").fill("Cable moved <b>off</b> the path")
        seen.page.get_by_role("button", name="Send remark").click()
        _topic, body = heard()
        assert (body["kind"], body["text"]) == ("other", "Cable moved <b>off</b> the path")
        expect(seen.page.get_by_label("A remark in your own words")).to_have_value("")


@pytest.mark.mosquitto
def test_a_note_is_taken_back(
    browser: Browser, serve: Serve, store: Path, mosquitto: Mosquitto, heard: Heard
) -> None:
    """For a minute beside the keys, and later under the note; a note that was taken back says so."""
    tell(store, SCENES["fine"])
    early = Note(unix_s=NOW_UNIX_S - 900.0, kind="shade-on", id="early")
    measure(store, "note", [early, Note(unix_s=NOW_UNIX_S - 20.0, kind="rain", id="slip")])
    address = serve(store, mosquitto.port)
    with visit(browser, address) as seen:
        for name, key in (("slip", "Take back: It rains"), ("early", "Take back: .*Shade is on")):
            seen.page.get_by_role("button", name=re.compile(key)).first.click()
            topic, body = heard()
            assert (topic, body["kind"], body["id"]) == (reading_topic(TERMINAL, "note"), "undo", name)
        measure(store, "note", [Note(unix_s=NOW_UNIX_S - 10.0, kind="undo", id="slip")])
        expect(seen.page.locator("#notes del")).to_contain_text("It rains")
        expect(seen.page.locator("#offer button")).to_have_count(0)
        expect(seen.page.locator("#notes button")).to_have_count(1)
        check_looks(seen, address, SMALLEST_TARGET_PX)


def rfc3339_unix_s(text: object) -> float:
    """Unix seconds of a time on the wire."""
    return datetime.fromisoformat(str(text)).timestamp()


def test_a_dead_broker_is_said(browser: Browser, serve: Serve, store: Path) -> None:
    tell(store, SCENES["fine"])
    with visit(browser, serve(store)) as seen:
        seen.page.get_by_role("button", name="It rains").click()
        expect(seen.page.locator(".delivery:not(:empty)")).to_contain_text("NOT delivered: It rains")


def test_a_dead_agent_is_never_a_frozen_fine(browser: Browser, serve: Serve, store: Path) -> None:
    tell(store, SCENES["fine"], written_wall_unix_s=time.time() - 120.0)
    with visit(browser, serve(store, 1, "--silent-after-s", str(SILENT_AFTER_S))) as seen:
        expect(seen.page.locator("#cover")).to_contain_text("No contact for 2 min")
        expect(seen.page.locator("#cover")).to_contain_text("the agent has stopped writing")
        expect(seen.page.locator("#verdict")).to_be_hidden()


@pytest.mark.parametrize("missing", ["file", "situation"])
def test_nothing_to_show_is_said(browser: Browser, serve: Serve, store: Path, missing: str) -> None:
    said = "cannot read the store"
    if missing == "situation":
        with writing(store):
            pass
        said = "has not yet written anything"
    with visit(browser, serve(store)) as seen:
        expect(seen.page.locator("#cover")).to_contain_text(said)
        expect(seen.page.locator("#cover")).to_contain_text("No contact yet")


def test_a_dead_dashboard_is_noticed_by_the_page_and_contact_comes_back(
    browser: Browser, serve: Serve, store: Path
) -> None:
    """The browser is cut from the dashboard and joined again, as a phone that leaves the network."""
    tell(store, SCENES["fine"])
    with visit(browser, serve(store)) as seen:
        expect(seen.page.locator("#verdict")).to_be_visible()
        seen.page.context.set_offline(True)
        seen.page.evaluate(LATER, 2.0 * NEVER_SILENT_S)
        expect(seen.page.locator("#cover")).to_contain_text("cannot reach the dashboard")
        seen.page.context.set_offline(False)
        expect(seen.page.locator("#verdict")).to_be_visible()


def test_only_what_changed_travels(browser: Browser, serve: Serve, store: Path) -> None:
    tell(store, SCENES["urgent"])
    with visit(browser, serve(store)) as seen:
        with next_refresh(seen.page) as first:
            seen.page.reload()
        assert 1_000 < len(first.value.body()) < 100_000
        with next_refresh(seen.page) as second:
            pass
        assert second.value.json()["parts"] == {}
        assert len(second.value.body()) < 1_000
        tell(store, SCENES["fine"])
        expect(seen.page.locator(".verdict h1")).to_have_text(SCENES["fine"].verdict)


def next_refresh(page: Page) -> AbstractContextManager[Captured]:
    """The answer to the next poll, when the block is done."""
    return page.expect_response(lambda response: response.url.endswith(NEWS))
