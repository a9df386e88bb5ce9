"""The plan is that of the day: by a clock that was set right, and past midnight."""

import asyncio
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime
from math import floor
from pathlib import Path

import pytest

from agent.clock import computer_clock
from agent.errors import UsageError
from agent.link_plan import LinkPlan
from agent.service.live import Agent, run_agent
from agent.service.pipeline import Pipeline, engine_digest, start_pipeline
from agent.store.opening import open_for_reading
from agent.store.reader import input_states, snapshot
from agent.store.writer import StoreWriter
from agent.watch.rule_set import default_rules
from tests.live import TERMINAL, embedded_at, sample_agent, sample_plan
from tests.plan.sample_job import job
from tests.processes import PATIENCE_S, free_port
from tests.test_service import arrivals, events_of
from tests.watch.sample_day import full_day

DAY_S = 86_400.0
BOOT_UNIX_S = datetime(2000, 1, 1, 12, tzinfo=UTC).timestamp()


def plan_at(unix_s: float) -> LinkPlan:
    """The plan of a day."""
    start_unix_s = floor(unix_s / DAY_S) * DAY_S
    return replace(sample_plan(), start_unix_s=start_unix_s, end_unix_s=start_unix_s + DAY_S)


def run_until(agent: Agent, wanted: Callable[[], bool]) -> None:
    """Run the agent until something holds."""

    async def test() -> None:
        stop = asyncio.Event()

        async def watch() -> None:
            async with asyncio.timeout(PATIENCE_S):
                while not wanted():  # noqa: ASYNC110 - a file has no event
                    await asyncio.sleep(0.05)
            stop.set()

        await run_agent(agent, stop, {"watch": watch})

    asyncio.run(test())


def goes_by(store: Path, unix_s: float) -> bool:
    """Whether the stored plan is that of a day."""
    if not store.exists():
        return False
    with closing(open_for_reading(store)) as connection:
        found = connection.execute("SELECT digest FROM plan").fetchone()
    return found == (engine_digest(job(), plan_at(unix_s), default_rules()),)


def test_a_computer_that_boots_in_2000_has_the_plan_of_today_once_its_clock_is_set(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real, store = time.time, tmp_path / "day.sqlite3"
    wrong = {"s": BOOT_UNIX_S - real()}
    monkeypatch.setattr(time, "time", lambda: real() + wrong["s"])
    agent = sample_agent(store, embedded_at(free_port()), computer_clock())
    agent = replace(agent, plan=plan_at(time.time()), plan_at=plan_at)

    def set_right() -> bool:
        if goes_by(store, BOOT_UNIX_S):
            wrong["s"] = 0.0
        return goes_by(store, real())

    run_until(agent, set_right)


def test_a_plan_that_cannot_be_computed_is_said_and_ends_nothing(tmp_path: Path) -> None:
    def none(_: float) -> LinkPlan:
        raise UsageError("it needs itur")

    store = tmp_path / "day.sqlite3"
    agent = sample_agent(store, embedded_at(free_port()), computer_clock())
    agent = replace(agent, plan=plan_at(BOOT_UNIX_S), plan_at=none)

    def said() -> bool:
        if not store.exists():
            return False
        with closing(open_for_reading(store)) as connection:
            found = [one.error for one in input_states(connection, TERMINAL) if one.name == "plan"]
        return found == ["that of the day is missing: it needs itur"]

    run_until(agent, said)


@pytest.fixture
def pipeline(tmp_path: Path) -> Pipeline:
    writer = StoreWriter.open(tmp_path / "day.sqlite3", TERMINAL, 0.0)
    return start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)


def test_another_plan_costs_the_engine_nothing_that_it_knows(pipeline: Pipeline, tmp_path: Path) -> None:
    """The same plan by another name in the midst of a day: the same events, and a restart knows it."""
    day = full_day()
    half = len(day) // 2
    other = replace(sample_plan(), end_unix_s=sample_plan().end_unix_s + DAY_S)
    pipeline.feed(pipeline.add(arrivals(day[:half])), 0.0)
    pipeline.follow(job(), other, default_rules())
    pipeline.feed(pipeline.add(arrivals(day[half:])), 0.0)
    pipeline.close()
    with closing(open_for_reading(tmp_path / "day.sqlite3")) as connection:
        kept = snapshot(connection, TERMINAL)
        rows = connection.execute("SELECT rule, state, unix_s FROM alert_event ORDER BY id").fetchall()
    assert kept is not None
    assert kept.digest == engine_digest(job(), other, default_rules())
    assert rows == [(one.rule, one.state, one.unix_s) for one in events_of(day)]
