"""The pipeline and the live agent in this process: restarts anywhere, full disks, alerts to the broker."""

import asyncio
import json
import sqlite3
from collections.abc import Awaitable, Callable, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

import aiomqtt
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.clock import played_clock
from agent.errors import UsageError
from agent.inputs.messages import alert_topic, kind_of, reading_topic, to_message
from agent.inputs.player import play
from agent.records import AlertEvent, AnyReading, ClockChange, Note, Signal
from agent.service import keeping
from agent.service.live import Agent, run_agent
from agent.service.pipeline import Pipeline, start_pipeline
from agent.store import reader
from agent.store.opening import StoreError, open_for_reading
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import RuleSet, default_rules, rule_set
from tests.live import (
    TERMINAL,
    as_stored,
    config_for,
    embedded_at,
    event_rows,
    rows_of,
    sample_plan,
    stored_readings,
)
from tests.plan.sample_job import job
from tests.processes import PATIENCE_S, free_port, listens
from tests.watch.sample_day import engine, full_day

DAY = full_day()
# With a knock, an acknowledgement, a re-peak, a shade and a sun pass.
MORNING = [one for one in DAY if one.unix_s < DAY[0].unix_s + 5400.0]
TOLERANCE_S = 120.0
ResultT = TypeVar("ResultT")


def events_of(readings: Iterable[AnyReading]) -> list[AlertEvent]:
    """What an engine says that takes the readings without a break."""
    one = engine(sample_plan())
    return [event for reading in readings for event in one.update(reading)]


def arrivals(readings: Iterable[AnyReading]) -> list[Arrival]:
    """Readings as they come from the broker, without delay."""
    return [
        Arrival(reading_topic(TERMINAL, kind_of(one)), to_message(one), kind_of(one), one, one.unix_s)
        for one in readings
    ]


def opened(store: Path, rules: RuleSet | None = None) -> Pipeline:
    """The pipeline as a start of the agent makes it."""
    writer = StoreWriter.open(store, TERMINAL, DAY[0].unix_s)
    return start_pipeline(writer, job(), sample_plan(), rules or default_rules(), TOLERANCE_S)


def in_groups(sequence: Sequence[AnyReading], length: int) -> Iterator[Sequence[AnyReading]]:
    """The sequence in pieces."""
    for start in range(0, len(sequence), length):
        yield sequence[start : start + length]


@given(
    stops=st.lists(
        st.tuples(st.integers(1, len(MORNING) - 1), st.sampled_from(["stored", "fed", "snapshot"])),
        max_size=4,
    ),
    length=st.sampled_from([20, 100, 1000]),
)
@settings(max_examples=10)
def test_an_agent_that_dies_anywhere_says_the_same(
    tmp_path_factory: pytest.TempPathFactory, stops: list[tuple[int, str]], length: int
) -> None:
    """Property: dying after readings are stored, fed to the engine, or in a snapshot changes nothing."""
    folder = tmp_path_factory.mktemp("restart")
    store = folder / "day.sqlite3"
    ends = dict(sorted(stops))
    pipeline = opened(store)
    pipeline.catch_up(0.0)
    done = 0
    for end, what in [*ends.items(), (len(MORNING), "fed")]:
        for group in in_groups(MORNING[done:end], length):
            new = pipeline.add(arrivals(group))
            if what != "stored":
                pipeline.feed(new, 0.0)
        if what == "snapshot":
            pipeline.save_snapshot()
        done = end
        pipeline.close()
        pipeline = opened(store)
        pipeline.catch_up(0.0)
    pipeline.close()
    assert stored_readings(store) == MORNING
    assert event_rows(store) == rows_of(events_of(MORNING), folder)


def test_ticks_change_nothing_but_when_it_is_said(tmp_path: Path) -> None:
    store = tmp_path / "day.sqlite3"
    pipeline = opened(store)
    assert pipeline.tick(MORNING[0].unix_s - 100.0, 0.0) == []
    for group in in_groups(MORNING, 10):
        pipeline.tick(group[0].unix_s - 2.0, 0.0)
        pipeline.feed(pipeline.add(arrivals(group)), 0.0)
    pipeline.close()
    assert event_rows(store) == rows_of(events_of(MORNING), tmp_path)


def test_silence_is_noticed_by_the_clock_alone(tmp_path: Path) -> None:
    store = tmp_path / "day.sqlite3"
    pipeline = opened(store)
    pipeline.feed(pipeline.add(arrivals(DAY[:200])), 0.0)
    last_unix_s = DAY[199].unix_s
    silent = [event for second in range(900) for event in pipeline.tick(last_unix_s + second, 0.0)]
    pipeline.close()
    assert "no-data" in {event.rule for event in silent}
    with closing(open_for_reading(store)) as connection:
        assert reader.events(connection, TERMINAL)[-len(silent) :] == silent


@pytest.mark.parametrize("away_s", [600.0, 7200.0, 86_400.0])
@pytest.mark.parametrize("silent_s", [0.0, 5400.0])
def test_what_waited_at_the_broker_keeps_its_own_time(tmp_path: Path, away_s: float, silent_s: float) -> None:
    """However long the agent was away and whatever ticks come between: at any speed of the computer.

    `silent_s`: so long the device, too, said nothing; what nobody can have seen is closed at once.
    """
    if silent_s > away_s:
        return
    store, start_unix_s = tmp_path / "day.sqlite3", full_day()[0].unix_s
    first = opened(store)
    first.feed(first.add(arrivals([Signal(unix_s=start_unix_s, esno_db=14.0)])), 0.0)
    first.close()
    back_unix_s = start_unix_s + away_s
    waited = [
        Signal(unix_s=start_unix_s + silent_s + after_s, esno_db=14.0)
        for after_s in np.arange(30.0, away_s - silent_s, 30.0).tolist()
    ]
    again = opened(store)
    again.catch_up(0.0)
    again.stamper.link_found(back_unix_s)
    for number, group in enumerate(in_groups(waited, 10)):
        received_unix_s = back_unix_s + 4.0 * number
        came = [replace(one, received_unix_s=received_unix_s) for one in arrivals(group)]
        again.feed(again.add(came), 0.0)
        again.tick(received_unix_s - 2.0, 0.0)
    again.tick(received_unix_s + 60.0, 0.0)
    assert again.stamper.latest_unix_s == received_unix_s + 60.0
    again.close()
    found = stored_readings(store)
    assert [one for one in found if isinstance(one, Signal)][1:] == waited
    leaps = [one.away_s for one in found if isinstance(one, ClockChange) and one.away_s]
    assert leaps[:1] == ([silent_s + 30.0] if silent_s else [])


def test_other_rules_learn_from_the_day_without_rewriting_it(tmp_path: Path) -> None:
    """What was said stays; of what the new rules would have said only the alerts that stand are added."""
    store = tmp_path / "day.sqlite3"
    pipeline = opened(store)
    half = DAY[: len(DAY) // 2]
    said = pipeline.feed(pipeline.add(arrivals(half)), 0.0)
    pipeline.save_snapshot()
    pipeline.close()
    strict = rule_set([{"repeak.raise_db": 0.3, "repeak.clear_db": 0.1, "shade.advise_after_s": 600.0}])
    pipeline = opened(store, strict)
    pipeline.catch_up(0.0)
    standing = [alert.event for alert in pipeline.situation().alerts]
    pipeline.close()
    with closing(open_for_reading(store)) as connection:
        kept = reader.events(connection, TERMINAL)
    assert kept[: len(said)] == said
    assert all(event in standing for event in kept[len(said) :])


def test_a_full_disk_feeds_no_reading_twice(tmp_path: Path) -> None:
    """SQLite's own limit of pages stands for the disk: it is full at each first try of everything."""
    store = tmp_path / "day.sqlite3"
    writer = StoreWriter.open(store, TERMINAL, MORNING[0].unix_s)
    pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), TOLERANCE_S)
    refused: list[str] = []

    def at_second_try(call: Callable[[], ResultT]) -> ResultT:
        writer.connection.execute("PRAGMA max_page_count = 1")  # SQLite takes the present size instead
        try:
            return call()
        except sqlite3.OperationalError as error:
            assert error.sqlite_errorcode == sqlite3.SQLITE_FULL
            refused.append(str(error))
        writer.connection.execute("PRAGMA max_page_count = 1000000")
        return call()

    for group in in_groups(MORNING, 100):
        new = at_second_try(partial(pipeline.add, arrivals(group)))
        at_second_try(partial(pipeline.feed, new, 0.0))
    pipeline.close()
    assert refused
    assert stored_readings(store) == MORNING
    assert event_rows(store) == rows_of(events_of(MORNING), tmp_path)


def test_a_snapshot_of_another_version_is_no_obstacle(tmp_path: Path) -> None:
    store = tmp_path / "day.sqlite3"
    pipeline = opened(store)
    pipeline.feed(pipeline.add(arrivals(DAY)), 0.0)
    pipeline.save_snapshot()
    pipeline.close()
    with closing(sqlite3.connect(store)) as connection:
        # That version may have known no checksum.
        sql = "UPDATE engine_snapshot SET body = '{\"walk\": 5}', digest = substr(digest, 1, 64)"
        connection.execute(sql)
        connection.commit()
    pipeline = opened(store)
    pipeline.catch_up(0.0)
    assert pipeline.situation().unix_s >= DAY[-1].unix_s - 10.0
    pipeline.close()
    assert event_rows(store) == rows_of(events_of(DAY), tmp_path)


def run(test: Callable[[], Awaitable[None]]) -> None:
    """Run the coroutine of a test."""
    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))  # type: ignore[arg-type]


def test_the_agent_from_start_to_end(tmp_path: Path) -> None:
    """A morning played: events reach the printer, the store and the broker; the end is said and orderly."""
    store = tmp_path / "day.sqlite3"
    morning = [one for one in DAY if one.unix_s < DAY[0].unix_s + 3600.0]
    broker = embedded_at(free_port())
    clock = played_clock(morning[0].unix_s, 1800.0, morning[-1].unix_s)
    heard: list[AlertEvent] = []
    agent = Agent(config_for(store, broker), sample_plan(), default_rules(), clock, heard.extend)

    async def test() -> None:
        stop = asyncio.Event()
        published: dict[str, dict[str, object]] = {}

        async def crew() -> None:
            async with aiomqtt.Client(broker.host, broker.port) as client:
                await client.subscribe(f"peakshade/{TERMINAL}/#", qos=1)
                async for message in client.messages:
                    published[str(message.topic)] = json.loads(bytes(message.payload))
                    if published.get(alert_topic(TERMINAL, "repeak"), {}).get("state") == "cleared":
                        read_cleared.set()

        async def device() -> None:
            await play(broker, TERMINAL, morning, clock)
            for one in (heard_cleared, read_cleared):
                await asyncio.wait_for(one.wait(), PATIENCE_S)
            stop.set()

        heard_cleared, read_cleared = asyncio.Event(), asyncio.Event()

        def hear(events: Sequence[AlertEvent]) -> None:
            heard.extend(events)
            if any(event.rule == "repeak" and event.state == "cleared" for event in heard):
                heard_cleared.set()

        await run_agent(replace(agent, on_events=hear), stop, {"crew": crew, "device": device})
        assert published[alert_topic(TERMINAL, "repeak")]["state"] == "cleared"
        assert published[f"peakshade/{TERMINAL}/status"]["state"] in ("online", "offline")

    run(test)
    assert stored_readings(store) == as_stored(morning)
    expected = [
        event for one in [engine(sample_plan())] for reading in morning for event in one.update(reading)
    ]
    assert heard == expected
    assert event_rows(store) == rows_of(expected, tmp_path)
    assert not listens(broker.port)


def test_what_the_user_can_mend_comes_out_as_one_error(tmp_path: Path) -> None:
    async def test() -> None:
        clock = played_clock(DAY[0].unix_s, 1.0)
        agent = Agent(
            config_for(tmp_path / "none" / "day.sqlite3", embedded_at(free_port())),
            sample_plan(),
            default_rules(),
            clock,
            lambda _: None,
        )
        with pytest.raises(StoreError, match="must exist and be writable"):
            await run_agent(agent, asyncio.Event(), {})

    run(test)


def test_an_error_among_the_tasks_comes_out_alone_too(tmp_path: Path) -> None:
    async def test() -> None:
        clock = played_clock(DAY[0].unix_s, 1.0)
        config = config_for(tmp_path / "day.sqlite3", embedded_at(free_port()))
        agent = Agent(config, sample_plan(), default_rules(), clock, lambda _: None)

        async def broken() -> None:
            raise UsageError("mend this")

        with pytest.raises(UsageError, match="mend this"):
            await run_agent(agent, asyncio.Event(), {"broken": broken})

    run(test)


def test_a_companion_that_fails_ends_the_agent_with_its_own_error(tmp_path: Path) -> None:
    async def test() -> None:
        clock = played_clock(DAY[0].unix_s, 1.0)
        config = config_for(tmp_path / "day.sqlite3", embedded_at(free_port()))
        agent = Agent(config, sample_plan(), default_rules(), clock, lambda _: None)

        async def broken() -> None:
            raise RuntimeError("made to fail")

        with pytest.raises(ExceptionGroup) as failed:
            await run_agent(agent, asyncio.Event(), {"broken": broken})
        assert failed.group_contains(RuntimeError, match="made to fail")

    run(test)


def test_a_disk_that_was_full_is_used_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """The agent says so, acknowledges nothing meanwhile, and goes on when there is room."""
    monkeypatch.setattr(keeping, "RETRY_S", 0.05)
    store = tmp_path / "day.sqlite3"
    broker = embedded_at(free_port())
    clock = played_clock(DAY[0].unix_s, 1.0)
    agent = Agent(config_for(store, broker), sample_plan(), default_rules(), clock, lambda _: None)
    pages = {"limit": True}
    real = Pipeline.add

    def limited(self: Pipeline, messages: Sequence[Arrival]) -> object:
        connection = self._writer.connection
        connection.execute(f"PRAGMA max_page_count = {1 if pages['limit'] else 1_000_000}")
        return real(self, messages)

    monkeypatch.setattr(Pipeline, "add", limited)

    async def test() -> None:
        stop = asyncio.Event()

        async def device() -> None:
            note = Note(unix_s=clock.now(), kind="other", extra={"x": "x" * 60_000})
            sent = asyncio.create_task(play(broker, TERMINAL, [note], clock))
            async with asyncio.timeout(PATIENCE_S):
                while "the disk is full" not in caplog.text:  # noqa: ASYNC110 - a log has no event
                    await asyncio.sleep(0.01)
            assert not sent.done()
            pages["limit"] = False
            await asyncio.wait_for(sent, PATIENCE_S)
            stop.set()

        await run_agent(agent, stop, {"device": device})

    run(test)
    assert [type(one) for one in stored_readings(store)] == [Note]
