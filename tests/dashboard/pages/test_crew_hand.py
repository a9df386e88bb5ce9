"""The crew's hand: readings off the modem's screen, peaking, the alarm, a name, and what a guest sees.

One browser, broker and dashboard for the file; each test has a terminal of its own in the store.
"""

import json
import queue
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import paho.mqtt.client as mqtt
import pytest
from playwright.sync_api import Browser, Page, expect

from agent.config import LOOPBACK
from agent.records import Note, Signal
from dashboard.access.gate import gate_of
from tests.dashboard.conftest import Serve
from tests.dashboard.looking import SIZES, Visit, check_looks, visit
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SCENES, active
from tests.dashboard.stores import NEVER_SILENT_S, measure, tell
from tests.processes import PATIENCE_S, Mosquitto, wait_until

pytestmark = [pytest.mark.browser, pytest.mark.mosquitto]

SMALLEST_TARGET_PX = 48.0
PASSCODE = "salt and sand"
# What the sound and the shaking motor of the phone would have done.
WATCH_ALARM = """() => {
  window.rang = 0; window.shook = 0;
  const start = OscillatorNode.prototype.start;
  OscillatorNode.prototype.start = function (...args) { window.rang += 1; return start.apply(this, args); };
  navigator.vibrate = () => { window.shook += 1; return true; };
}"""
Heard = Callable[[], tuple[str, dict[str, object]]]


@dataclass
class Place:
    """The store that the pages are of, their address, and what the broker hears."""

    store: Path
    address: str
    guarded: str
    heard: Heard

    def of(self, terminal: str) -> str:
        return f"{self.address}/?terminal={terminal}"

    def tell(self, terminal: str, scene: str = "fine", ago_s: float | None = None) -> None:
        """The terminal's situation, written so long ago; else its clock stands still."""
        wall_unix_s = None if ago_s is None else time.time() - ago_s
        tell(self.store, SCENES[scene], terminal=terminal, written_wall_unix_s=wall_unix_s)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory, module_serve: Serve) -> Iterator[Place]:
    folder = tmp_path_factory.mktemp("hand")
    broker = Mosquitto(folder)
    broker.start()
    messages: queue.Queue[tuple[str, dict[str, object]]] = queue.Queue()
    subscribed: queue.Queue[int] = queue.Queue()
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, one: messages.put((one.topic, json.loads(one.payload)))
    client.on_subscribe = lambda _client, _data, mid, *_rest: subscribed.put(mid)
    client.connect(LOOPBACK, broker.port)
    client.loop_start()
    client.subscribe("peakshade/#", qos=1)
    subscribed.get(timeout=PATIENCE_S)
    store, passcode = folder / "store.sqlite3", folder / "passcode.txt"
    passcode.write_text(PASSCODE)
    tell(store, SCENES["fine"])
    alarm = json.dumps({"remind_act_s": 5.0, "remind_urgent_s": 3.0})
    yield Place(
        store,
        module_serve(store, broker.port, "--alarm", alarm),
        module_serve(store, broker.port, "--passcode-file", str(passcode)),
        lambda: messages.get(timeout=PATIENCE_S),
    )
    client.disconnect()
    client.loop_stop()
    broker.stop()


def becomes_true(page: Page, script: str) -> None:
    """Wait for it; the page's own policy forbids the way that the browser's driver has for this."""
    wait_until(lambda: bool(page.evaluate(script)), PATIENCE_S, script)


def tap(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def test_what_the_modem_shows_is_entered_with_a_tap_or_two(browser: Browser, place: Place) -> None:
    place.tell("shown")
    with visit(browser, place.of("shown")) as seen:
        page = seen.page
        page.get_by_label("Your name, for notes and Seen").fill("Ines")
        page.get_by_text("Read off the modem").click()
        entry = page.locator(".by-hand")
        tap(page, "No lock")
        topic, body = place.heard()
        assert topic == "peakshade/shown/signal"
        assert (body["locked"], body["method"], body["by"]) == (False, "manual", "Ines")
        tap(page, "3/5")
        _topic, body = place.heard()
        assert (body["locked"], body["quality_percent"]) == (True, 60.0)
        page.get_by_label("Level", exact=True).fill("11,8")
        entry.get_by_role("button", name="Send").first.click()
        _topic, body = place.heard()
        assert body["esno_db"] == 11.8
        expect(page.get_by_label("Level", exact=True)).to_have_value("")
        page.get_by_label("Level", exact=True).fill("7.5")
        page.get_by_label("Which figure the modem shows").select_option("C/N")
        entry.get_by_role("button", name="Send").first.click()
        assert place.heard()[1]["cn_db"] == 7.5
        page.get_by_label("Test, up (Mbit/s)").fill("3.4")
        entry.get_by_role("button", name="Send").last.click()
        topic, body = place.heard()
        assert topic == "peakshade/shown/throughput"
        assert (body["method"], body["up_mbps"], "down_mbps" in body) == ("manual", 3.4, False)
        expect(page.get_by_label("Test, up (Mbit/s)")).to_have_value("")
        expect(page.locator(".side .delivery")).to_contain_text("Delivered: test, up 3.4 Mbit/s")
        check_looks(seen, place.address, SMALLEST_TARGET_PX)


@pytest.mark.parametrize(("typed", "said"), [("", "Type a number"), ("118", "NOT sent"), ("nan", "NOT sent")])
def test_what_is_no_level_is_not_sent(browser: Browser, place: Place, typed: str, said: str) -> None:
    place.tell("wrong")
    with visit(browser, place.of("wrong")) as seen:
        seen.page.get_by_text("Read off the modem").click()
        seen.page.get_by_label("Level", exact=True).fill(typed)
        seen.page.locator(".by-hand").get_by_role("button", name="Send").first.click()
        expect(seen.page.locator(".side .delivery")).to_contain_text(said)


@pytest.mark.parametrize("size", SIZES)
def test_a_peaking_has_one_large_figure_until_it_is_done(browser: Browser, place: Place, size: str) -> None:
    terminal = f"turned-{size}"
    place.tell(terminal)
    start = Note(unix_s=NOW_UNIX_S - 30.0, kind="peak-start", id="start")
    levels = [Signal(unix_s=NOW_UNIX_S - 20.0 + step, esno_db=9.0 + 0.2 * step) for step in range(16)]
    measure(place.store, "note", [start], terminal)
    measure(place.store, "signal", levels, terminal)
    with visit(browser, place.of(terminal), size) as seen:
        page = seen.page
        expect(page.locator("#peak-level")).to_have_text("12.0")
        expect(page.locator("#peak-way")).to_have_text("▲ rises")
        expect(page.locator("#peak-beside")).to_have_text("best 12.0 · plan 12.4 · before 12.1")
        # Readable at arm's length: a figure of a quarter of the phone's width.
        box = page.locator("#peak-level").bounding_box()
        assert box is not None and box["height"] >= 90.0
        check_looks(seen, place.address, SMALLEST_TARGET_PX)
        page.evaluate(WATCH_ALARM)
        tap(page, "Tone")
        becomes_true(page, "window.rang >= 1")
        measure(place.store, "signal", [Signal(unix_s=NOW_UNIX_S, esno_db=10.5)], terminal)
        expect(page.locator("#peak-level")).to_have_text("10.5")
        expect(page.locator("#peak-way")).to_have_text("▼ falls")
        expect(page.locator("#peak-beside")).to_contain_text("best 12.0")
        page.locator("#peaking").get_by_role("button", name="Peaking done").click()
        topic, body = place.heard()
        assert (topic, body["kind"]) == (f"peakshade/{terminal}/note", "peak-done")
        measure(place.store, "note", [Note(unix_s=NOW_UNIX_S + 1.0, kind="peak-done", id="done")], terminal)
        expect(page.locator("#peaking")).to_be_hidden()


def ringing(seen: Visit) -> None:
    """Turn the alarm on, with the sound watched."""
    seen.page.evaluate(WATCH_ALARM)
    tap(seen.page, "Alarm on this phone")
    expect(seen.page.locator("#sound-key")).to_have_attribute("aria-pressed", "true")


def test_the_alarm_rings_with_each_sending_until_seen(browser: Browser, place: Place) -> None:
    place.tell("rings")
    with visit(browser, place.of("rings")) as seen:
        page = seen.page
        ringing(seen)
        tap(page, "Test the alarm")
        becomes_true(page, "window.rang === 3 && window.shook === 1")
        place.tell("rings", "act", ago_s=0.0)
        # Two beeps for what asks for an act, again after five seconds of this test's settings.
        becomes_true(page, "window.rang >= 7 && window.shook >= 3")
        seen_now = replace(SCENES["act"], alerts=(active(REPEAK, acknowledged=True),))
        tell(place.store, seen_now, terminal="rings")
        expect(page.locator(".answers .seen")).to_be_visible()
        assert page.evaluate("JSON.parse(localStorage.peakshade).sound") is True
        page.reload()
        expect(page.locator("#sound-key")).to_have_attribute("aria-pressed", "true")


def test_lost_contact_rings_and_is_said_again_until_touched(browser: Browser, place: Place) -> None:
    place.tell("lost")
    with visit(browser, place.of("lost")) as seen:
        ringing(seen)
        place.tell("lost", ago_s=2.0 * NEVER_SILENT_S)
        expect(seen.page.locator("#cover")).to_be_visible()
        becomes_true(seen.page, "window.rang >= 6 && window.shook >= 2")


def test_the_screen_stays_on_over_plain_http(browser: Browser, place: Place) -> None:
    """A browser has its own lock only with TLS; a film with a silent sound track holds the screen too."""
    place.tell("lit")
    with visit(browser, place.of("lit")) as seen:
        page = seen.page
        page.evaluate("() => delete Navigator.prototype.wakeLock")
        page.evaluate(
            "() => { const play = HTMLMediaElement.prototype.play; HTMLMediaElement.prototype.play ="
            " function () { window.film = this; return play.call(this); }; }"
        )
        tap(page, "Keep the screen on")
        becomes_true(
            page, "window.film && window.film.currentTime > 0 && !window.film.paused && !window.film.muted"
        )
        expect(page.locator("#screen-key")).to_have_attribute("aria-pressed", "true")
        tap(page, "Keep the screen on")
        becomes_true(page, "window.film.paused")
        assert seen.problems == []


def test_a_notification_where_the_browser_knows_them(browser: Browser, place: Place) -> None:
    place.tell("told")
    with visit(browser, place.of("told")) as seen:
        page = seen.page
        page.context.grant_permissions(["notifications"])
        ringing(seen)
        place.tell("told", "act")
        becomes_true(
            page,
            "async () => (await (await navigator.serviceWorker.ready).getNotifications())"
            ".some((one) => one.title === 'Act: Re-peak the dish')",
        )


def test_seen_has_a_name_and_stands_on_the_first_screen(browser: Browser, place: Place) -> None:
    place.tell("named", "act")
    with visit(browser, place.of("named")) as seen:
        page = seen.page
        page.get_by_label("Your name, for notes and Seen").fill("Ines")
        page.get_by_label("Your name, for notes and Seen").blur()
        page.reload()
        for key in ("Seen", "Peaking starts"):
            box = page.locator(".verdict").get_by_role("button", name=key).bounding_box()
            assert box is not None and box["y"] + box["height"] <= 844.0, f"{key} is not on the first screen"
        page.locator(".verdict").get_by_role("button", name="Seen").click()
        topic, body = place.heard()
        assert (topic, body["by"]) == ("peakshade/named/acknowledge", "Ines")


def test_a_guest_sees_no_key_that_it_may_not_use(browser: Browser, place: Place) -> None:
    link = gate_of(place.store, PASSCODE).sign("guest", time.time() + 600.0)
    place.tell("looked-at", "urgent")
    start = Note(unix_s=NOW_UNIX_S - 30.0, kind="peak-start", id="start")
    measure(place.store, "note", [start], "looked-at")
    with visit(browser, f"{place.guarded}/enter?link={link}") as seen:
        seen.page.goto(f"{place.guarded}/?terminal=looked-at")
        expect(seen.page.locator("#peaking")).to_be_visible()
        keys = seen.page.locator("button:visible").all_text_contents()
        assert keys == [
            "Tone",
            "Night theme",
            "Imperial units",
            "Alarm on this phone",
            "Keep the screen on",
            "Test the alarm",
        ]
        assert seen.page.locator("input:visible").count() == 0
