"""The store: what was agreed about its tables, what it keeps, and what it says when it cannot."""

import os
import sqlite3
import subprocess
import sys
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from math import floor, isclose
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.records import KINDS, AlertEvent, AnyReading, Note, Signal, Temperature, Throughput
from agent.store import reader, writer
from agent.store.opening import StoreError, open_for_reading, open_for_writing
from agent.store.writer import Arrival, Refusal, StoreWriter
from agent.wording import Said, codes
from tests.inputs.any_readings import readings
from tests.watch.sample_day import engine, full_day

TERMINAL = "van-1"
NOW_UNIX_S = 1_784_365_200.0


def keep(reading: AnyReading, _received_unix_s: float) -> AnyReading:
    """The stamp that takes the sender's word."""
    return reading


def arrival(reading: AnyReading, received_unix_s: float = NOW_UNIX_S) -> Arrival:
    """A reading as it comes from the broker."""
    kind = kind_of(reading)
    return Arrival(reading_topic(TERMINAL, kind), to_message(reading), kind, reading, received_unix_s)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "day.sqlite3"


@pytest.fixture
def store(path: Path) -> Iterator[StoreWriter]:
    with closing(StoreWriter.open(path, TERMINAL, NOW_UNIX_S)) as opened:
        yield opened


def columns(connection: sqlite3.Connection, table: str) -> set[str]:
    """Names of a table's columns."""
    return {row[1] for row in connection.execute(f'PRAGMA table_info("{table}")')}


AGREED = {
    "minute": "terminal kind place field minute_unix_s n total low high last",
    "rejected": "id received_unix_s topic payload reason",
    "alert_event": "id terminal unix_s rule severity state cause action evidence figures deadline_unix_s"
    " confidence said",
    "situation": "terminal unix_s body written_wall_unix_s",
    "situation_minute": "terminal unix_s body",
    "engine_snapshot": "terminal seq unix_s digest body",
    "plan": "terminal digest job body",
    "migration": "name applied_unix_s",
    "temperature": "seq terminal unix_s received_unix_s sent_unix_s extra where temperature_degc",
    "note": "seq terminal unix_s received_unix_s sent_unix_s extra kind id where text by",
    "weather": "seq terminal unix_s received_unix_s sent_unix_s extra air_degc rain_mm_h wind_m_s gust_m_s"
    " humidity_percent cloud_percent irradiance_w_m2",
}


@pytest.mark.parametrize("table", AGREED)
def test_tables_are_as_agreed(store: StoreWriter, table: str) -> None:
    assert columns(store.connection, table) == set(AGREED[table].split())


@given(st.lists(readings(tuple(KINDS)), max_size=8))
@settings(max_examples=50)
def test_readings_come_back_as_they_were(days: list[AnyReading]) -> None:
    """Property: any reading survives the store, in the order over all kinds."""
    with closing(StoreWriter.open(Path(":memory:"), TERMINAL, NOW_UNIX_S)) as store:
        new = store.add([arrival(one) for one in days], keep)
        stored = list(reader.readings_after(store.connection, TERMINAL, 0))
    assert stored == new
    distinct = {to_message(one): one for one in days}
    assert [one.reading for one in stored] == list(distinct.values())


def test_a_redelivered_message_changes_nothing(store: StoreWriter) -> None:
    day = [arrival(one) for one in full_day()[:300]]
    assert len(store.add(day, keep)) == 300
    before = list(store.connection.iterdump())
    assert store.add(day[100:], keep) == []
    assert list(store.connection.iterdump()) == before


def test_the_same_values_at_another_time_are_another_reading(store: StoreWriter) -> None:
    first = Signal(unix_s=NOW_UNIX_S, esno_db=9.0)
    twice = [arrival(first), arrival(replace(first, unix_s=NOW_UNIX_S + 0.001))]
    assert [one.seq for one in store.add(twice, keep)] == [1, 2]


def test_redeliveries_are_recognised_for_two_days(store: StoreWriter) -> None:
    old = Note(unix_s=NOW_UNIX_S, kind="other")
    store.add([arrival(old)], keep)
    assert store.add([arrival(old, NOW_UNIX_S + 1.9 * 86_400.0)], keep) == []
    store.add([arrival(Note(unix_s=1.0, kind="other"), NOW_UNIX_S + 5 * 86_400.0)], keep)
    assert store.connection.execute("SELECT count(*) FROM seen").fetchone() == (1,)


@given(
    st.lists(
        st.tuples(st.integers(0, 200), st.sampled_from(["modem", "transmitter"]), st.integers(-20, 60)),
        min_size=1,
        max_size=40,
    ),
    st.integers(1, 7),
)
@settings(max_examples=50)
def test_roll_ups_say_what_the_readings_say(rows: list[tuple[int, str, int]], group: int) -> None:
    """Property: however the readings are grouped, each minute has their count, sum, extremes and last."""
    rows = sorted(rows, key=lambda row: row[0])
    day = [
        Temperature(unix_s=NOW_UNIX_S + second + index / 1000.0, where=where, temperature_degc=float(degc))
        for index, (second, where, degc) in enumerate(rows)
    ]
    with closing(StoreWriter.open(Path(":memory:"), TERMINAL, NOW_UNIX_S)) as store:
        for start in range(0, len(day), group):
            store.add([arrival(one) for one in day[start : start + group]], keep)
        found = store.connection.execute(
            "SELECT place, minute_unix_s, n, total, low, high, last FROM minute ORDER BY place, minute_unix_s"
        ).fetchall()
    assert found == sorted(minutes_of(day))


def minutes_of(day: Sequence[Temperature]) -> Iterator[tuple[str, float, int, float, float, float, float]]:
    """The roll-ups from first principles."""
    for place, minute in {(one.where, floor(one.unix_s / 60.0) * 60.0) for one in day}:
        degc = [
            one.temperature_degc for one in day if one.where == place and minute <= one.unix_s < minute + 60.0
        ]
        yield place, minute, len(degc), sum(degc), min(degc), max(degc), degc[-1]


def test_roll_ups_of_several_fields(store: StoreWriter) -> None:
    store.add([arrival(Throughput(unix_s=NOW_UNIX_S, method="active", up_mbps=2.0, flows=3))], keep)
    found = store.connection.execute("SELECT field, last FROM minute ORDER BY field").fetchall()
    assert found == [("flows", 3.0), ("up_mbps", 2.0)]


def test_rejected_messages_are_bounded(store: StoreWriter, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(writer, "KEEP_REJECTED", 20)
    for number in range(50):
        store.add([Refusal("t", b"%d" % number + b"x" * 9000, f"reason {number}", NOW_UNIX_S)], keep)
    rows = store.connection.execute("SELECT id, length(payload), reason FROM rejected").fetchall()
    assert [(number, size) for number, size, _ in rows] == [(number, 4096) for number in range(31, 51)]
    assert rows[-1][2] == "reason 49"


def test_events_come_back_and_are_stored_once(store: StoreWriter) -> None:
    one = engine()
    events = [event for reading in full_day() for event in one.update(reading)]
    situation = one.situation()
    store.add_events(events, [situation], NOW_UNIX_S)
    store.add_events(events[5:], [situation], NOW_UNIX_S + 1.0)
    assert reader.events(store.connection, TERMINAL) == events
    (found,) = reader.situations(store.connection)
    assert (found.terminal, found.situation, found.written_wall_unix_s) == (
        TERMINAL,
        situation,
        NOW_UNIX_S + 1.0,
    )


def test_snapshots_come_back_with_what_is_not_a_number(store: StoreWriter) -> None:
    store.save_snapshot(7, NOW_UNIX_S, "digest", {"a": float("inf"), "b": [float("nan")]})
    found = reader.snapshot(store.connection, TERMINAL)
    assert found is not None
    assert (found.seq, found.unix_s, found.digest, found.body["a"]) == (7, NOW_UNIX_S, "digest", float("inf"))


def test_input_ages_name_each_thermometer(store: StoreWriter) -> None:
    places = ("modem", "transmitter", "modem")
    day: list[AnyReading] = [
        Temperature(unix_s=NOW_UNIX_S + index, where=where, temperature_degc=40.0)
        for index, where in enumerate(places)
    ]
    store.add([arrival(one) for one in [Signal(unix_s=NOW_UNIX_S - 5.0, esno_db=9.0), *day]], keep)
    found = [
        (one.kind, one.place, one.unix_s - NOW_UNIX_S)
        for one in reader.input_ages(store.connection, TERMINAL)
    ]
    assert found == [("signal", "", -5.0), ("temperature", "transmitter", 1.0), ("temperature", "modem", 2.0)]


def test_terminals_do_not_mix(path: Path) -> None:
    for number, terminal in enumerate(("van-1", "van-2", "van-1")):
        with closing(StoreWriter.open(path, terminal, NOW_UNIX_S)) as store:
            store.add([arrival(Signal(unix_s=NOW_UNIX_S + number, esno_db=9.0))], keep)
    with closing(open_for_reading(path)) as connection:
        assert [one.seq for one in reader.readings_after(connection, "van-1", 0)] == [1, 3]
        assert [one.seq for one in reader.readings_after(connection, "van-2", 0)] == [2]


def test_commits_wait_for_the_disk(store: StoreWriter) -> None:
    """SQLite, PRAGMA synchronous: in WAL mode only FULL (2) survives a power cut with every commit."""
    assert store.connection.execute("PRAGMA synchronous").fetchone() == (2,)
    assert store.connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_readers_neither_write_nor_wait(store: StoreWriter, path: Path) -> None:
    with closing(open_for_reading(path)) as connection:
        connection.execute("BEGIN")
        assert connection.execute("SELECT count(*) FROM signal").fetchone() == (0,)
        store.add([arrival(Signal(unix_s=NOW_UNIX_S, esno_db=9.0))], keep)
        assert connection.execute("SELECT count(*) FROM signal").fetchone() == (0,)
        connection.execute("COMMIT")
        assert connection.execute("SELECT count(*) FROM signal").fetchone() == (1,)
        with pytest.raises(sqlite3.OperationalError, match="readonly"):
            connection.execute("DELETE FROM signal")


def test_a_failed_group_leaves_nothing(store: StoreWriter) -> None:
    def refuse(reading: AnyReading, _received_unix_s: float) -> AnyReading:
        if reading.unix_s > NOW_UNIX_S:
            raise RuntimeError("made to fail")
        return reading

    both = [arrival(Signal(unix_s=NOW_UNIX_S + second, esno_db=9.0)) for second in (0.0, 1.0)]
    with pytest.raises(RuntimeError):
        store.add(both, refuse)
    assert store.connection.execute("SELECT count(*) FROM signal").fetchone() == (0,)
    assert len(store.add(both, keep)) == 2


def test_an_older_store_gets_the_new_columns(path: Path) -> None:
    """A store from before a field was invented is brought up to date, with its readings."""
    with closing(StoreWriter.open(path, TERMINAL, NOW_UNIX_S)) as store:
        store.add([arrival(Signal(unix_s=NOW_UNIX_S, esno_db=9.0))], keep)
        store.connection.execute("ALTER TABLE signal DROP COLUMN uplink_esno_db")
        store.connection.execute("DELETE FROM migration WHERE name = 'column signal.uplink_esno_db'")
    with closing(StoreWriter.open(path, TERMINAL, NOW_UNIX_S + 1.0)) as store:
        (found,) = reader.readings_after(store.connection, TERMINAL, 0)
        assert found.reading == Signal(unix_s=NOW_UNIX_S, esno_db=9.0)
        last = store.connection.execute("SELECT name, applied_unix_s FROM migration ORDER BY applied_unix_s")
        assert last.fetchall()[-1] == ("column signal.uplink_esno_db", NOW_UNIX_S + 1.0)


def test_a_migration_that_fails_leaves_the_store_as_it_was(path: Path) -> None:
    with closing(StoreWriter.open(path, TERMINAL, NOW_UNIX_S)) as store:
        store.connection.execute("DELETE FROM migration WHERE name LIKE 'column power.%'")
        before = list(store.connection.iterdump())
    with pytest.raises(StoreError, match="duplicate column"):
        open_for_writing(path, NOW_UNIX_S)
    with closing(open_for_reading(path)) as connection:
        assert list(connection.iterdump()) == before


def test_a_newer_store_is_not_touched(path: Path) -> None:
    with closing(StoreWriter.open(path, TERMINAL, NOW_UNIX_S)) as store:
        store.connection.execute("INSERT INTO migration VALUES ('column signal.colour', 1.0)")
    for opening in (lambda: open_for_writing(path, NOW_UNIX_S), lambda: open_for_reading(path)):
        with pytest.raises(StoreError, match=r"newer version.*column signal\.colour.*update peakshade"):
            opening()


def test_files_that_are_no_store(tmp_path: Path) -> None:
    text = tmp_path / "text.sqlite3"
    text.write_text("not a database " * 100)
    other = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    for path, words in (
        (text, "is not an SQLite file"),
        (other, "another program.*recipes"),
        (tmp_path, "cannot be opened"),
        (tmp_path / "none" / "day.sqlite3", "folder .*none must exist"),
    ):
        with pytest.raises(StoreError, match=words):
            open_for_writing(path, NOW_UNIX_S)
    with pytest.raises(StoreError, match="no such file"):
        open_for_reading(tmp_path / "day.sqlite3")
    assert not (tmp_path / "day.sqlite3").exists()


@pytest.mark.skipif(os.geteuid() != 0, reason="needs root to become a user without rights")
def test_a_store_that_may_not_be_written(path: Path) -> None:
    StoreWriter.open(path, TERMINAL, NOW_UNIX_S).close()
    for folder in (path.parent, *path.parents[1:4]):
        folder.chmod(0o755)
    script = (
        "import os, sys; from pathlib import Path; from agent.store.opening import open_for_writing\n"
        # What Python itself loads late may lie where nobody may read.
        "store = Path(sys.argv[1]); store.as_uri(); os.setuid(65534); open_for_writing(store, 0.0)"
    )
    found = subprocess.run(
        [sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=False
    )
    assert "StoreError" in found.stderr
    assert "may not be" in found.stderr or "cannot be opened" in found.stderr


def test_a_full_disk_is_told_apart(store: StoreWriter) -> None:
    """SQLite's own limit of pages stands for the disk: the same error code, SQLITE_FULL."""
    (pages,) = store.connection.execute("PRAGMA page_count").fetchone()
    store.connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    day = [arrival(one) for one in full_day()]
    with pytest.raises(sqlite3.OperationalError) as full:
        store.add(day, keep)
    assert full.value.sqlite_errorcode == sqlite3.SQLITE_FULL
    assert store.connection.execute("SELECT count(*) FROM seen").fetchone() == (0,)
    store.connection.execute("PRAGMA max_page_count = 1000000")
    assert len(store.add(day, keep)) == len(day)


def test_every_kind_has_its_table(store: StoreWriter) -> None:
    assert {kind for kind in KINDS if columns(store.connection, kind)} == set(KINDS)


def test_an_event_keeps_its_numbers(store: StoreWriter) -> None:
    event = AlertEvent(
        unix_s=0.1 + 0.2,
        rule="shade",
        severity="act",
        state="raised",
        cause="overheat",
        action="Schatten für den Sender",
        evidence=("50 °C", 'a "quoted" word'),
        figures={"x": 1 / 3},
        deadline_unix_s=None,
        said=codes(evidence=(Said("temperature", {"temperature_degc": 1 / 3}, "for"),)),
    )
    store.add_events([event], [], NOW_UNIX_S)
    (found,) = reader.events(store.connection, TERMINAL)
    assert found == event
    assert isclose(found.figures["x"], 1 / 3, rel_tol=0.0, abs_tol=0.0)
