"""A day out of a real store."""

import json
from collections.abc import Sequence
from pathlib import Path

import pandas as pd
import pytest
from pydantic import TypeAdapter

from agent.cli import main
from agent.errors import UsageError
from agent.job import Job
from agent.plan.plan_json import plan_to_json
from agent.records import KINDS, AlertEvent, AnyReading
from agent.replay.replaying import session_plan
from agent.report.stored import stored_day
from agent.store.writer import Arrival, StoreWriter
from tests.report.days import bundled_session, cut, reviewed

KIND_OF = {record: kind for kind, record in KINDS.items()}
DAY = "2026-07-18"
OTHER_DAY_S = 86_400.0


def arrivals(readings: Sequence[AnyReading]) -> list[Arrival]:
    """The readings as messages that came at their own times."""
    return [
        Arrival(
            f"peakshade/van-1/{KIND_OF[type(one)]}", str(number).encode(), KIND_OF[type(one)], one, one.unix_s
        )
        for number, one in enumerate(readings)
    ]


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """A store with the beginning of a bundled day and one alert."""
    session = cut(bundled_session("salt-pan-summer"), 3000)
    path = tmp_path / "store.sqlite3"
    writer = StoreWriter.open(path, "van-1", session.start_unix_s)
    job = TypeAdapter(Job).dump_json(session.job).decode()
    plan = json.dumps(plan_to_json(session_plan(session)))
    writer.connection.execute("INSERT INTO plan VALUES ('van-1', 'a digest', ?, ?)", (job, plan))
    writer.add(arrivals(session.readings), lambda reading, received_unix_s: reading)
    writer.add_events(
        [alert(session.start_unix_s + 60.0), alert(session.start_unix_s + OTHER_DAY_S)], [], 0.0
    )
    writer.close()
    return path


def alert(unix_s: float) -> AlertEvent:
    """An alert that no engine raised on these readings."""
    return AlertEvent(
        unix_s=unix_s,
        rule="on-battery",
        severity="act",
        state="raised",
        cause="power",
        action="See to the generator",
        evidence=("stored",),
        figures={},
    )


def test_the_readings_come_back_in_their_order_with_the_alerts_of_the_day(store: Path) -> None:
    session = cut(bundled_session("salt-pan-summer"), 3000)
    found = stored_day(store, DAY, None)
    assert list(found.session.readings) == list(session.readings)
    assert found.session.job == session.job
    assert [event.unix_s for event in found.events] == [session.start_unix_s + 60.0]
    assert reviewed(DAY, found.session).down == reviewed(DAY, session).down


def test_the_command_reviews_the_day_with_the_alerts_that_were_raised_live(
    store: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "cache"))
    out = tmp_path / "out"
    assert main(["report", "--store", str(store), "--day", DAY, "--out", str(out)]) == 1
    page = (out / "report.html").read_text()
    assert "stored by the agent" in page
    assert "those that were raised live" in page
    assert pd.read_csv(out / "alerts.csv")["rule"].tolist() == ["on-battery"]


def test_what_the_store_does_not_have_is_said(store: Path, tmp_path: Path) -> None:
    with pytest.raises(
        UsageError, match="no reading of van-1 on 2026-07-19; it has readings from 2026-07-18"
    ):
        stored_day(store, "2026-07-19", "van-1")
    with pytest.raises(UsageError, match="has no plan of terminal 'van-9'; it has those of: van-1"):
        stored_day(store, DAY, "van-9")
    with pytest.raises(UsageError, match="expected a date such as"):
        stored_day(store, "18.07.2026", None)
    with pytest.raises(UsageError, match="there is no such file"):
        stored_day(tmp_path / "none.sqlite3", DAY, None)
