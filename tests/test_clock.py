"""The agent's time when somebody sets the computer's clock, at any moment and by any amount."""

import asyncio
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest

from agent import clock as clock_module
from agent.clock import Clock, computer_clock
from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.inputs.stamping import AWAY_S
from agent.records import AlertEvent, AnyReading, ClockChange, Power, Signal
from agent.replay.recording import recorded
from agent.replay.replaying import replay_events
from agent.replay.sessions import read_session, write_session
from agent.service.live import run_agent
from agent.service.pipeline import Pipeline, start_pipeline
from agent.store.opening import open_for_reading
from agent.store.writer import Arrival, StoreWriter
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.live import (
    TERMINAL,
    Device,
    embedded_at,
    event_rows,
    rows_of,
    sample_agent,
    sample_plan,
    stored_readings,
)
from tests.plan.sample_job import job
from tests.processes import PATIENCE_S, free_port
from tests.watch.sample_day import MIDNIGHT_UNIX_S

NOON_UNIX_S = MIDNIGHT_UNIX_S + 12 * 3600.0
MINUTE_S, HOUR_S, DAY_S, YEAR_S = 60.0, 3600.0, 86_400.0, 365.25 * 86_400.0
STEPS_S = [
    sign * size_s
    for size_s in (1.0, 3.0, MINUTE_S, HOUR_S - 1.0, HOUR_S + 1.0, 2 * HOUR_S, 90 * DAY_S, 10 * YEAR_S)
    for sign in (1.0, -1.0)
]


@dataclass
class Bench:
    """A computer with two clocks, the pipeline of an agent on it, and devices whose clocks are right."""

    store: Path
    true_unix_s: float = NOON_UNIX_S
    wrong_s: float = 0.0
    events: list[AlertEvent] = field(default_factory=list)
    battery: bool = False

    def __post_init__(self) -> None:
        self.start()

    def start(self) -> None:
        """As the agent starts."""
        self.clock = Clock(self.computer(), self.true_unix_s, 1.0, follows_computer=True)
        writer = StoreWriter.open(self.store, TERMINAL, self.computer())
        # A test of clocks need not wait for the disk at every second of them.
        writer.connection.execute("PRAGMA synchronous = OFF")
        self.pipeline: Pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
        self.pipeline.catch_up(self.computer())
        stamper = self.pipeline.stamper
        if stamper.latest_unix_s > 0.0:
            self.hear(self.clock.go_on(stamper.latest_unix_s, stamper.offset_s, self.computer()))

    def computer(self) -> float:
        """What the computer's clock shows."""
        return self.true_unix_s + self.wrong_s

    def restart(self, away_s: float = 5.0) -> None:
        """The agent ends and starts again a while later."""
        self.pipeline.close()
        self.true_unix_s += away_s
        self.start()

    def hear(self, reading: AnyReading | None) -> None:
        """As the live agent takes a reading in."""
        if reading is None:
            return
        kind = kind_of(reading)
        arrival = Arrival(reading_topic(TERMINAL, kind), to_message(reading), kind, reading, self.clock.now())
        self.events += self.pipeline.feed(self.pipeline.add([arrival]), self.computer())

    def go(self, seconds: float) -> None:
        """Time passes, with a look at the clock, a tick and readings every five seconds."""
        for _ in range(int(seconds / 5.0)):
            self.true_unix_s += 5.0
            self.hear(self.clock.look(self.computer()))
            self.events += self.pipeline.tick(self.clock.now() - 2.0, self.computer())
            self.hear(Signal(unix_s=self.true_unix_s, esno_db=14.0))
            source = "battery" if self.battery else "mains"
            self.hear(Power(unix_s=self.true_unix_s, source=source, battery_percent=80.0))

    def replayed(self) -> list[AlertEvent]:
        """What an engine says that takes the stored readings, then time."""
        engine = AlertEngine(job(), sample_plan(), default_rules())
        events = [event for one in stored_readings(self.store) for event in engine.update(one)]
        return events + engine.advance(self.pipeline.stamper.latest_unix_s)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Bench]:
    made: list[Bench] = []
    monkeypatch.setattr(clock_module, "steady_s", lambda: made[0].true_unix_s if made else NOON_UNIX_S)
    made.append(Bench(tmp_path / "day.sqlite3"))
    yield made[0]
    made[0].pipeline.close()


def of_rule(events: list[AlertEvent], rule: str) -> list[str]:
    """The states of one rule's events in their order."""
    return [event.state for event in events if event.rule == rule]


@pytest.mark.parametrize("restarts", ["never", "before", "after"])
@pytest.mark.parametrize("step_s", STEPS_S)
def test_a_step_in_the_middle_of_an_alert(bench: Bench, step_s: float, restarts: str) -> None:
    """No alert is lost, doubled or invented, no stamp runs back or stands still, and replay says the same."""
    bench.go(60.0)
    bench.battery = True
    bench.go(60.0)
    if restarts == "before":
        bench.restart()
    bench.wrong_s = step_s
    if restarts != "after":
        bench.go(60.0)
    if restarts == "after":
        bench.restart()
    bench.go(120.0)
    count = len(stored_readings(bench.store))
    bench.battery = False
    bench.go(300.0)
    stamps = [one.unix_s for one in stored_readings(bench.store)]
    assert all(before <= after for before, after in pairwise(stamps))
    later = stamps[count:]
    assert later[-1] - later[0] == pytest.approx(295.0, abs=10.0)
    assert of_rule(bench.events, "on-battery") == ["raised", "cleared"]
    assert of_rule(bench.events, "no-data") == []
    noticed = abs(step_s) > 2.0 and (restarts != "after" or step_s < -10.0)
    assert of_rule(bench.events, "clock-stepped") == (["raised"] if noticed else [])
    assert event_rows(bench.store) == rows_of(bench.replayed(), bench.store.parent)


@pytest.mark.parametrize("step_s", STEPS_S)
def test_a_correction_is_a_row(bench: Bench, step_s: float) -> None:
    """Of over two seconds; smaller ones are absorbed."""
    bench.go(60.0)
    bench.wrong_s = step_s
    bench.go(60.0)
    changes = [one for one in stored_readings(bench.store) if isinstance(one, ClockChange)]
    if abs(step_s) < 2.0:
        assert changes == []
        return
    (change,) = changes
    assert (change.stepped_s, change.offset_s, change.away_s) == (step_s, step_s, 0.0)
    assert change.unix_s == pytest.approx(NOON_UNIX_S + 65.0, abs=0.1)


def test_a_clock_that_is_set_right_is_believed_at_once(bench: Bench) -> None:
    """Regression: two hours fast and set right, every reading was stamped at one moment for two hours."""
    bench.pipeline.close()
    bench.wrong_s = 2 * HOUR_S
    bench.start()
    bench.go(300.0)
    bench.wrong_s = 0.0
    bench.go(300.0)
    late = stored_readings(bench.store)[-100:]
    assert all(one.sent_unix_s is None for one in late)
    assert len({one.unix_s for one in late}) == 50
    bench.restart()
    bench.go(60.0)
    late = stored_readings(bench.store)[-20:]
    assert all(one.sent_unix_s is None for one in late)
    assert late[-1].unix_s == pytest.approx(bench.true_unix_s + 2 * HOUR_S, abs=0.1)


def test_the_engine_takes_the_time_of_day_again_when_it_need_not_run_back(bench: Bench) -> None:
    bench.wrong_s = 2 * HOUR_S
    bench.restart()
    bench.go(60.0)
    bench.wrong_s = 0.0
    bench.go(60.0)
    bench.restart(away_s=12 * HOUR_S)
    bench.go(60.0)
    assert bench.clock.offset_s == 0.0
    assert stored_readings(bench.store)[-1].unix_s == bench.true_unix_s


@pytest.mark.parametrize("away_s", [AWAY_S + 60.0, DAY_S, 90 * DAY_S, 10 * YEAR_S])
def test_a_long_absence_is_closed_at_once(bench: Bench, away_s: float) -> None:
    """Regression: it was walked through in steps of ten seconds; 90 days took 52 s."""
    bench.go(300.0)
    started_s = time.process_time()
    bench.restart(away_s)
    bench.go(30.0)
    assert time.process_time() - started_s < 5.0
    assert of_rule(bench.events, "no-data") == []
    assert event_rows(bench.store) == rows_of(bench.replayed(), bench.store.parent)


def test_a_short_absence_is_watched_after_the_fact(bench: Bench) -> None:
    bench.go(300.0)
    bench.restart(AWAY_S - 60.0)
    bench.go(30.0)
    assert of_rule(bench.events, "no-data") == ["raised", "cleared"]


def test_an_input_that_does_not_come_back_after_an_absence_is_missed(bench: Bench) -> None:
    bench.go(300.0)
    bench.restart(DAY_S)
    for _ in range(600):
        bench.true_unix_s += 1.0
        bench.events += bench.pipeline.tick(bench.clock.now(), bench.computer())
    assert of_rule(bench.events, "no-data") == ["raised"]


@pytest.mark.parametrize(
    "moment",
    [
        "2026-03-29T00:30:00+00:00",  # Europe's clocks go forward at 01:00 UTC
        "2026-10-25T00:30:00+00:00",  # and back
        "2028-02-28T23:30:00+00:00",  # a leap day begins
        "2027-12-31T23:30:00+00:00",
    ],
)
def test_the_calendar_is_no_step(bench: Bench, moment: str) -> None:
    bench.pipeline.close()
    bench.true_unix_s = datetime.fromisoformat(moment).timestamp()
    bench.start()
    bench.go(HOUR_S)
    assert not [one for one in stored_readings(bench.store) if isinstance(one, ClockChange)]
    assert bench.events == []


def test_a_laptop_that_slept_was_away(bench: Bench) -> None:
    bench.go(300.0)
    bench.true_unix_s += 8 * HOUR_S
    bench.go(60.0)
    (change,) = (one for one in stored_readings(bench.store) if isinstance(one, ClockChange))
    assert (change.stepped_s, change.away_s) == (0.0, 8 * HOUR_S + 3.0)
    assert of_rule(bench.events, "no-data") == []


def test_the_steady_clock_is_the_system_s() -> None:
    before_s = time.monotonic()
    first_s, second_s = clock_module.steady_s(), clock_module.steady_s()
    assert first_s <= second_s
    assert clock_module.steady_s() - first_s <= time.monotonic() - before_s + 1.0


def test_the_live_agent_through_a_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With a broker, a device and a clock that is set back by two hours while it runs."""
    real, wrong = time.time, {"s": 2 * HOUR_S}
    monkeypatch.setattr(time, "time", lambda: real() + wrong["s"])
    store, broker = tmp_path / "day.sqlite3", embedded_at(free_port())
    agent = sample_agent(store, broker, computer_clock())

    async def stored(least: int, found: Callable[[AnyReading], bool]) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while not store.exists() or sum(map(found, stored_readings(store))) < least:  # noqa: ASYNC110
                await asyncio.sleep(0.05)

    async def test() -> None:
        stop = asyncio.Event()

        async def device() -> None:
            sender = await asyncio.to_thread(Device, broker.port)
            sender.publish(Signal(unix_s=real(), esno_db=14.0))
            await stored(1, lambda one: isinstance(one, Signal))
            wrong["s"] = 0.0
            sender.publish(Signal(unix_s=real(), esno_db=14.1))
            await stored(2, lambda one: isinstance(one, Signal))
            sender.close()
            stop.set()

        await run_agent(agent, stop, {"device": device})

    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))
    first, change, second = (one for one in stored_readings(store) if not isinstance(one, Power))
    assert isinstance(change, ClockChange)
    assert change.stepped_s == pytest.approx(-2 * HOUR_S, abs=0.5)
    assert first.sent_unix_s is not None
    assert second.sent_unix_s is None
    assert first.unix_s <= change.unix_s <= second.unix_s <= first.unix_s + PATIENCE_S
    with closing(open_for_reading(store)) as connection:
        rows = connection.execute("SELECT unix_s, offset_s FROM clock").fetchall()
    assert rows == [(change.unix_s, change.offset_s)]


def test_a_recorded_day_with_a_correction_replays_to_the_same_events(bench: Bench, tmp_path: Path) -> None:
    bench.go(60.0)
    bench.wrong_s = -2 * HOUR_S
    bench.battery = True
    bench.go(90.0)
    write_session(tmp_path / "session", recorded(bench.store, TERMINAL, None, None).session)
    assert (tmp_path / "session" / "clock.csv").read_text().splitlines()[0].split(",")[0] == "time"
    session = read_session(tmp_path / "session")
    assert sorted(map(repr, session.readings)) == sorted(map(repr, stored_readings(bench.store)))
    events, _ = replay_events(session, sample_plan(), default_rules())
    assert rows_of(events, tmp_path) == event_rows(bench.store)
    assert {event.rule for event in events} >= {"on-battery", "clock-stepped"}
