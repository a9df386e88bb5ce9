"""Situations of a day, live: devices, a real Mosquitto, the agent, its store, and the page in a browser.

What the crew must read in each is what the engine's own table says (tests/watch/test_situations.py); here the
way from the device to the thumb is tested, and what only the edges know: broker, refused messages, history.
"""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import paho.mqtt.publish
import pytest
from playwright.sync_api import Browser, Page, expect

from agent.clock import Clock, played_clock
from agent.config import LOOPBACK
from agent.inputs.messages import alert_topic
from agent.records import AnyReading, Note, Signal, Throughput, Weather
from tests.dashboard.conftest import Serve
from tests.dashboard.looking import visit
from tests.live import TERMINAL, AgentProcess, Device, retained, stored_readings
from tests.processes import PATIENCE_S, Mosquitto, wait_until
from tests.watch.sample_day import HOUR_S, MIDNIGHT_UNIX_S

pytestmark = [pytest.mark.browser, pytest.mark.mosquitto]

SPEED = 20.0
# After sunset and the day's sun pass: however long a slow computer takes, neither comes in between.
START_UNIX_S = MIDNIGHT_UNIX_S + 19.5 * HOUR_S
# A reading every ten seconds of the day.
STEP_S = 10.0 / SPEED
REMIND_S = 4.0
MADRID = ZoneInfo("Europe/Madrid")
LEVEL_DB, UPLINK_DB = 14.0, 12.0


@dataclass
class Day:
    """What the devices say at present, said again and again until the test says otherwise."""

    device: Device
    clock: Clock
    says: list[AnyReading] = field(default_factory=list)
    ends: threading.Event = field(default_factory=threading.Event)

    def signal(self, **fields: float | bool) -> None:
        """From now on the modem says this; without fields it is silent."""
        others = [one for one in self.says if not isinstance(one, Signal)]
        self.says = [*others, *([Signal(unix_s=0.0, **fields)] if fields else [])]  # type: ignore[arg-type]

    def link_is_up(self, lost_db: float = 0.0) -> None:
        """Lock, with so much less than the plan on the downlink."""
        self.signal(locked=True, esno_db=LEVEL_DB - lost_db, uplink_esno_db=UPLINK_DB - lost_db)

    def weather(self, rain_mm_h: float) -> None:
        """From now on the gauge says this."""
        others = [one for one in self.says if not isinstance(one, Weather)]
        self.says = [*others, Weather(unix_s=0.0, rain_mm_h=rain_mm_h, air_degc=20.0)]

    def once(self, reading: AnyReading) -> float:
        """Say this now; returns when that was, Unix seconds."""
        said = replace(reading, unix_s=self.clock.now())
        self.device.publish(said)
        return said.unix_s

    def run(self) -> None:
        """Until `ends`."""
        while not self.ends.wait(STEP_S):
            for one in self.says:
                self.once(one)


@contextmanager
def day(broker: Mosquitto, clock: Clock) -> Iterator[Day]:
    """Devices at work."""
    made = Day(Device(broker.port), clock)
    thread = threading.Thread(target=made.run, name="devices")
    thread.start()
    try:
        yield made
    finally:
        made.ends.set()
        thread.join()
        made.device.close()


@pytest.fixture
def clock() -> Clock:
    return played_clock(START_UNIX_S, SPEED)


@pytest.fixture
def agent(tmp_path: Path, mosquitto: Mosquitto, clock: Clock) -> Iterator[AgentProcess]:
    process = AgentProcess(tmp_path / "day.sqlite3", mosquitto.settings, clock, REMIND_S)
    process.start()
    yield process
    process.kill()


@pytest.fixture
def page(browser: Browser, serve: Serve, agent: AgentProcess, mosquitto: Mosquitto) -> Iterator[Page]:
    """The crew's page on a phone."""
    wait_until(agent.store.exists, PATIENCE_S, "the store is there")
    with visit(
        browser, serve(agent.store, mosquitto.port, "--terminal", TERMINAL, "--speed", str(SPEED))
    ) as seen:
        yield seen.page


def reads(page: Page, level: str, verdict: str, action: str = "") -> None:
    """Wait until the crew reads this, all of it at once."""
    shown = f"#verdict:has(.level:has-text({json.dumps(level)})):has(h1:has-text({json.dumps(verdict)}))"
    expect(page.locator(f"{shown} .action")).to_contain_text(action)


def tap(page: Page, button: str) -> None:
    """Tap, and wait until it is delivered."""
    page.get_by_role("button", name=button).first.click()
    expect(page.locator(".delivery:not(:empty)").first).to_contain_text("Delivered")


def set_up(page: Page, now: Day) -> None:
    """From the first word of the modem to a link that is watched."""
    now.weather(0.0)
    now.link_is_up()
    reads(page, "", "Locked, not peaked yet", "Peak the dish, then tap Peaking done")
    tap(page, "Peaking done")
    reads(page, "Fine", "All well")


def test_set_up_lock_rain_and_rates(page: Page, mosquitto: Mosquitto, clock: Clock) -> None:
    """From "find the satellite" to "all well"; lock goes and comes back; it rains; a test grows old."""
    with day(mosquitto, clock) as now:
        now.signal(locked=False)
        reads(page, "Not known yet", "Not locked yet: find the satellite", "elevation 45.0")
        set_up(page, now)
        rates = Throughput(unix_s=0.0, method="active", down_mbps=7.0, up_mbps=4.0)
        first_unix_s = now.once(rates)
        wait_until(lambda: clock.now() > first_unix_s + 120.0, PATIENCE_S, "time for the next test")
        tested = f"{datetime.fromtimestamp(now.once(rates), MADRID):%H:%M}"
        tap(page, "Stream starts")
        now.signal(locked=False)
        reads(page, "Urgent", "The link is down: no lock", "Look in this order: the beam, LNB and cable")
        expect(page.locator("#verdict .evidence")).to_contain_text("no lock since")
        now.link_is_up()
        reads(page, "Fine", "All well")
        now.weather(30.0)
        now.link_is_up(lost_db=4.0)
        reads(page, "Advice", "Rain takes", "do not touch the dish")
        expect(page.locator("#caption-rate")).to_contain_text(f"last test {tested}")


def test_what_the_edges_know(page: Page, mosquitto: Mosquitto, clock: Clock) -> None:
    """History, unreadable messages, silence with its reason, and a broker that goes and comes back."""
    old = json.dumps({"time": START_UNIX_S - 60.0, "esno_db": 3.0}).encode()
    paho.mqtt.publish.single(f"peakshade/{TERMINAL}/signal", old, 1, True, LOOPBACK, mosquitto.port)
    with day(mosquitto, clock) as now:
        set_up(page, now)
        now.device.publish_raw(f"peakshade/{TERMINAL}/signal", b'{"esno_db": 14.0}')
        states = page.locator("#states")
        expect(states).to_contain_text("1 refused, the last at")
        expect(states).to_contain_text("signal: time is missing")
        now.signal()
        reads(page, "Act", "Signal has gone silent", "See why signal has gone silent")
        expect(page.locator("#verdict .evidence")).to_contain_text("time is missing")
        now.link_is_up()
        reads(page, "Fine", "All well")
        mosquitto.stop()
        reads(page, "Not known yet", f"Broker {LOOPBACK}:{mosquitto.port} not reached since", "Is it running")
        expect(states).to_contain_text("does not work")
        mosquitto.start()
        reads(page, "Fine", "All well")
        expect(states).not_to_contain_text("does not work")


def test_notes_and_reminders(page: Page, agent: AgentProcess, mosquitto: Mosquitto, clock: Clock) -> None:
    """A slip of the thumb is taken back; an alert is said again until it is seen, and keeps its time."""
    with day(mosquitto, clock) as now:
        set_up(page, now)
        tap(page, "It rains")
        tap(page, "Take back: It rains")
        expect(page.locator("#notes del")).to_contain_text("It rains")
        assert [one.kind for one in stored_readings(agent.store) if isinstance(one, Note)] == [
            "peak-done", "rain", "undo",
        ]  # fmt: skip
        tap(page, "Terminal moved")
        now.link_is_up(lost_db=2.5)
        reads(page, "Act", "The dish points off", "e-peak")
        expect(page.locator("#verdict .besides")).to_contain_text("dB missing")
        topic = alert_topic(TERMINAL, "repeak")
        raised = alert(mosquitto, topic)
        wait_until(lambda: alert(mosquitto, topic)["state"] == "reminder", PATIENCE_S, "a reminder")
        assert alert(mosquitto, topic)["time"] == raised["time"]
        agent.kill()
        paho.mqtt.publish.single(topic, b"", 1, True, LOOPBACK, mosquitto.port)
        assert retained(mosquitto.port, topic) is None
        agent.start()
        assert alert(mosquitto, topic)["time"] == raised["time"]
        tap(page, "Seen")
        wait_until(lambda: alert(mosquitto, topic)["state"] == "acknowledged", PATIENCE_S, "seen")


def alert(broker: Mosquitto, topic: str) -> dict[str, object]:
    """The alert that the broker keeps."""
    kept: list[bytes] = []

    def is_kept() -> bool:
        payload = retained(broker.port, topic)
        kept[:] = [] if payload is None else [payload]
        return bool(kept)

    wait_until(is_kept, PATIENCE_S, f"an alert on {topic}")
    found: dict[str, object] = json.loads(kept[0])
    return found
