"""The pages' questions against a store that the agent's own writer wrote."""

import sqlite3
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from agent.planning.compute import compute_plan
from agent.records import Note, Signal, Temperature
from agent.store.opening import StoreError
from dashboard import queries
from dashboard.queries import Channel
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SCENES, SHADE, TERMINAL
from tests.dashboard.stores import measure, tell, writing
from tests.plan.sample_job import job

ESNO = Channel(kind="signal", field="esno_db")
MINUTE_UNIX_S = NOW_UNIX_S - 600.0  # a full minute


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "store.sqlite3"


def test_situation_comes_back_as_it_was_told(store: Path) -> None:
    tell(store, SCENES["urgent"], written_wall_unix_s=123.5)
    with queries.open_store(store) as connection:
        current = queries.current(connection, TERMINAL)
        assert current is not None
        assert (current.situation, current.written_wall_unix_s) == (SCENES["urgent"], 123.5)
        assert queries.current(connection, "van-9") is None


def test_newest_terminal_is_the_one_written_last(store: Path) -> None:
    tell(store, SCENES["fine"], terminal="van-1", written_wall_unix_s=200.0)
    tell(store, SCENES["fine"], terminal="van-2", written_wall_unix_s=300.0)
    with queries.open_store(store) as connection:
        assert queries.newest_terminal(connection) == "van-2"
        assert [row.current.terminal for row in queries.terminals(connection)] == ["van-1", "van-2"]


def test_job_and_its_absence(store: Path) -> None:
    with writing(store):
        pass
    with queries.open_store(store) as connection:
        assert queries.job(connection, TERMINAL) is None
        assert queries.plan(connection, TERMINAL) is None
        assert queries.known_terminals(connection) == ()


def test_history_keeps_missing_figures_missing(store: Path) -> None:
    tell(store, SCENES["unknown"])
    with queries.open_store(store) as connection:
        history = queries.history(connection, TERMINAL, NOW_UNIX_S - 120.0, NOW_UNIX_S)
    assert history.unix_s.tolist() == [NOW_UNIX_S - 120.0, NOW_UNIX_S - 60.0, NOW_UNIX_S]
    assert np.isnan(history.figures["esno_db"]).tolist() == [False, False, True]


def test_history_is_thinned_to_every_nth_minute(store: Path) -> None:
    tell(store, SCENES["fine"])
    with queries.open_store(store) as connection:
        history = queries.history(connection, TERMINAL, NOW_UNIX_S - 3540.0, NOW_UNIX_S, every=10)
    assert len(history.unix_s) == 6
    assert set(np.diff(history.unix_s)) == {600.0}


def test_readings_of_one_thermometer_only(store: Path) -> None:
    places = ("transmitter", "modem", "transmitter")
    readings = [
        Temperature(unix_s=MINUTE_UNIX_S + number, where=where, temperature_degc=20.0 + number)
        for number, where in enumerate(places)
    ]
    measure(store, "temperature", readings)
    channel = Channel(kind="temperature", field="temperature_degc", place="transmitter")
    with queries.open_store(store) as connection:
        series = queries.readings(connection, TERMINAL, channel, MINUTE_UNIX_S, MINUTE_UNIX_S + 60.0)
    assert series.middle.tolist() == [20.0, 22.0]


def test_minutes_give_mean_and_extremes_of_the_readings(store: Path) -> None:
    """Against numpy over the readings themselves, five minutes at a time."""
    rng = np.random.default_rng(7)
    values_db = np.round(rng.normal(11.0, 0.4, 600), 2)
    readings = [
        Signal(unix_s=MINUTE_UNIX_S + second, esno_db=float(db)) for second, db in enumerate(values_db)
    ]
    measure(store, "signal", readings)
    with queries.open_store(store) as connection:
        span = (MINUTE_UNIX_S, MINUTE_UNIX_S + 599.0)
        series = queries.minutes(connection, TERMINAL, ESNO, span, 300.0)
    unix_s = MINUTE_UNIX_S + np.arange(600.0)
    groups = [values_db[unix_s // 300.0 == number] for number in np.unique(unix_s // 300.0)]
    assert series.middle == pytest.approx([group.mean() for group in groups])
    assert series.low.tolist() == [group.min() for group in groups]
    assert series.high.tolist() == [group.max() for group in groups]


def test_nothing_measured_is_an_empty_series(store: Path) -> None:
    with writing(store):
        pass
    with queries.open_store(store) as connection:
        assert len(queries.minutes(connection, TERMINAL, ESNO, (0.0, 1.0), 60.0).unix_s) == 0
        assert len(queries.readings(connection, TERMINAL, ESNO, 0.0, 1.0).unix_s) == 0
        assert len(queries.history(connection, TERMINAL, 0.0, 1.0).unix_s) == 0


def test_unknown_field_never_reaches_the_database(store: Path) -> None:
    with writing(store):
        pass
    channel = Channel(kind="signal", field='esno_db" FROM signal; --')
    with queries.open_store(store) as connection, pytest.raises(ValueError, match="no field"):
        queries.readings(connection, TERMINAL, channel, 0.0, 1.0)


def test_events_and_notes_of_a_span_in_order(store: Path) -> None:
    tell(store, SCENES["act"], events=[REPEAK, SHADE])
    notes = [Note(unix_s=NOW_UNIX_S - ago_s, kind="rain", text=f"{ago_s:g}") for ago_s in (30.0, 20.0, 10.0)]
    measure(store, "note", notes)
    with queries.open_store(store) as connection:
        assert queries.events(connection, TERMINAL, SHADE.unix_s, NOW_UNIX_S) == (SHADE, REPEAK)
        # What stands when the span begins is told as well, until it is over.
        assert queries.events(connection, TERMINAL, NOW_UNIX_S, NOW_UNIX_S + 1.0) == (SHADE, REPEAK)
        newest = queries.latest_notes(connection, TERMINAL, 2)
        assert [note.text for note in newest] == ["10", "20"]
        span = queries.notes(connection, TERMINAL, NOW_UNIX_S - 20.0, NOW_UNIX_S)
        assert [note.text for note in span] == ["20", "10"]


def test_an_alert_that_is_over_does_not_reach_into_a_later_span(store: Path) -> None:
    over = replace(REPEAK, unix_s=NOW_UNIX_S - 60.0, state="cleared")
    tell(store, SCENES["fine"], events=[SHADE, REPEAK, over])
    with queries.open_store(store) as connection:
        assert queries.events(connection, TERMINAL, NOW_UNIX_S, NOW_UNIX_S + 1.0) == (SHADE,)
        assert queries.events(connection, "van-9", NOW_UNIX_S, NOW_UNIX_S + 1.0) == ()


def test_reader_cannot_write(store: Path) -> None:
    tell(store, SCENES["fine"])
    with pytest.raises(StoreError, match="readonly"), queries.open_store(store) as connection:
        connection.execute("DELETE FROM situation")


def test_missing_and_foreign_stores_are_named(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no such file"), queries.open_store(tmp_path / "none.sqlite3"):
        pass
    foreign = tmp_path / "foreign.sqlite3"
    with sqlite3.connect(foreign) as connection:
        connection.execute("CREATE TABLE contacts (name TEXT)")
    connection.close()
    with pytest.raises(StoreError, match="another program"), queries.open_store(foreign):
        pass


def test_job_comes_back(store: Path) -> None:
    planned = job()
    with writing(store) as writer:
        writer.save_plan(planned, compute_plan(planned), "invented")
    with queries.open_store(store) as connection:
        assert queries.job(connection, TERMINAL) == planned
        assert queries.known_terminals(connection) == (TERMINAL,)
        plan = queries.plan(connection, TERMINAL)
    assert plan is not None
    assert plan.pointing.elevation_deg == pytest.approx(compute_plan(planned).pointing.elevation_deg)
