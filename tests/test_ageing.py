"""Readings as they age: packed, still the same, and in the end only their minutes."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.records import AnyReading, Note, Signal, Temperature
from agent.store import ageing, reader
from agent.store.ageing import DAY_S, PIECE_ROWS, age
from agent.store.packing import packed, unpacked
from agent.store.rescue import rescued
from agent.store.schema import own_fields
from agent.store.writer import StoreWriter
from dashboard import queries
from dashboard.queries import Channel
from tests.test_store import NOW_UNIX_S, TERMINAL, arrival, keep

cells = {
    "reals": st.floats(allow_nan=False),
    "integers": st.integers(-(2**63), 2**63 - 1),
    "texts": st.text(st.characters(exclude_categories=["Cs"])),
}


@given(st.data(), st.integers(1, 40))
@settings(max_examples=60)
def test_what_is_packed_comes_back_to_the_last_bit(data: st.DataObject, count: int) -> None:
    """Property: over any columns of reals, whole numbers and texts, with cells that are empty."""
    columns = {
        name: data.draw(st.lists(st.none() | one, min_size=count, max_size=count))
        for name, one in cells.items()
    }
    back = unpacked(packed(columns), (*columns, "later"), count)
    assert [list(one) for one in back] == [*columns.values(), [None] * count]
    assert [str(one) for one in back[0]] == [str(one) for one in columns["reals"]]  # -0.0 is not 0.0


def test_a_piece_that_was_damaged_says_so() -> None:
    data = bytearray(packed({"a": [1.5, 2.5]}))
    data[len(data) // 2] ^= 1
    with pytest.raises(ValueError, match="cannot be unpacked"):
        unpacked(bytes(data), ("a",), 2)


def days(count: int) -> list[AnyReading]:
    """Signal and two thermometers, a note now and then, one every seven seconds."""
    found: list[AnyReading] = []
    for index in range(count):
        unix_s = NOW_UNIX_S + 7.0 * index + 0.123456
        if index % 1000 == 999:
            found.append(Note(unix_s=unix_s, kind="other", text="ä"))
        elif index % 3 == 2:
            where = ("modem", "transmitter")[index % 2]
            found.append(Temperature(unix_s=unix_s, where=where, temperature_degc=30.0 + index % 70 / 10.0))
        else:
            extra = {"beam": index} if index % 50 == 0 else {}
            locked = None if index % 4 else index % 8 == 0
            found.append(Signal(unix_s=unix_s, esno_db=12.0 + index % 30 / 10.0, locked=locked, extra=extra))
    return found


DAYS = days(4 * PIECE_ROWS)
END_UNIX_S = DAYS[-1].unix_s


@pytest.fixture
def store(tmp_path: Path) -> Iterator[StoreWriter]:
    """With readings of some fifteen hours, none packed."""
    with closing(StoreWriter.open(tmp_path / "day.sqlite3", TERMINAL, NOW_UNIX_S)) as made:
        for first in range(0, len(DAYS), 2000):
            made.add([arrival(one, one.unix_s) for one in DAYS[first : first + 2000]], keep)
        yield made


def aged(store: StoreWriter, now_unix_s: float, keep_raw_days: int = 90) -> None:
    """As hours of work would."""
    while age(store.connection, TERMINAL, now_unix_s, keep_raw_days):
        pass


def readings(store: StoreWriter, after: int = 0) -> Sequence[AnyReading]:
    return [one.reading for one in reader.readings_after(store.connection, TERMINAL, after)]


def test_packed_readings_are_the_same_to_every_reader(store: StoreWriter, tmp_path: Path) -> None:
    ages = reader.input_ages(store.connection, TERMINAL)
    channels = (
        Channel(kind="signal", field="esno_db"),
        Channel(kind="temperature", field="temperature_degc", place="modem"),
    )
    span = (NOW_UNIX_S + 1000.0, END_UNIX_S - 1000.0)
    with queries.open_store(tmp_path / "day.sqlite3") as connection:
        before = [queries.readings(connection, TERMINAL, one, *span) for one in channels]
    aged(store, END_UNIX_S + 3600.0 + DAY_S)
    (pieces,) = store.connection.execute("SELECT count(*) FROM packed").fetchone()
    assert pieces >= 3
    assert readings(store) == DAYS
    assert readings(store, 3333) == DAYS[3333:]
    for index in (0, 1, 2500, len(DAYS) - 1):
        assert reader.last_seq_before(store.connection, TERMINAL, DAYS[index].unix_s) == index
    assert reader.last_seq_before(store.connection, TERMINAL, END_UNIX_S + 1.0) == len(DAYS)
    assert [one.kind for one in reader.input_ages(store.connection, TERMINAL)] == [one.kind for one in ages]
    with queries.open_store(tmp_path / "day.sqlite3") as connection:
        for was, one in zip(before, channels, strict=True):
            now = queries.readings(connection, TERMINAL, one, *span)
            np.testing.assert_array_equal(now.unix_s, was.unix_s)
            np.testing.assert_array_equal(now.middle, was.middle)


def test_numbers_go_on_where_all_is_packed(store: StoreWriter) -> None:
    aged(store, END_UNIX_S + 2 * DAY_S)
    later = replace(DAYS[0], unix_s=END_UNIX_S + 2 * DAY_S)
    (new,) = store.add([arrival(later, later.unix_s)], keep)
    assert new.seq == len(DAYS) + 1


def test_after_the_days_to_keep_only_minutes_notes_and_the_like_are_left(store: StoreWriter) -> None:
    minutes = store.connection.execute("SELECT count(*), sum(total) FROM minute").fetchone()
    for day in range(2):
        watched(store, END_UNIX_S + (2 + day) * DAY_S)
    aged(store, END_UNIX_S + 3 * DAY_S, keep_raw_days=2)
    assert all(isinstance(one, Note) for one in readings(store))
    assert len(readings(store)) == sum(isinstance(one, Note) for one in DAYS)
    assert store.connection.execute("SELECT count(*), sum(total) FROM minute").fetchone() == minutes
    (found,) = store.add([arrival(replace(DAYS[0], unix_s=END_UNIX_S + 3 * DAY_S))], keep)
    assert found.seq > len(DAYS) - PIECE_ROWS


def test_a_clock_that_runs_ahead_by_years_costs_nothing(store: StoreWriter) -> None:
    watched(store, END_UNIX_S + 3650 * DAY_S)
    aged(store, END_UNIX_S + 3650 * DAY_S, keep_raw_days=2)
    assert readings(store) == DAYS


def watched(store: StoreWriter, unix_s: float) -> None:
    """The agent watched at this minute."""
    store.connection.execute("INSERT INTO situation_minute VALUES (?, ?, '{}')", (TERMINAL, unix_s))


def test_the_writer_ages_as_it_goes(store: StoreWriter) -> None:
    for step in range(20):
        unix_s = END_UNIX_S + 2 * DAY_S + 10.0 * step
        store.add([arrival(replace(DAYS[0], unix_s=unix_s), unix_s)], keep)
    assert store.connection.execute("SELECT count(*) FROM packed").fetchone()[0] >= 3


def test_pieces_are_rescued(store: StoreWriter, tmp_path: Path) -> None:
    aged(store, END_UNIX_S + 2 * DAY_S)
    store.connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    rescued(tmp_path / "day.sqlite3", tmp_path / "out.sqlite3", 0.0)
    with closing(StoreWriter.open(tmp_path / "out.sqlite3", TERMINAL, 0.0)) as out:
        assert readings(out) == DAYS


def test_a_reading_takes_a_third_of_what_it_took(store: StoreWriter) -> None:
    """A row with its place in the index took 89 bytes; here with its extra fields."""
    aged(store, END_UNIX_S + 2 * DAY_S)
    took, count = store.connection.execute("SELECT sum(length(body)), sum(n) FROM packed").fetchone()
    assert took / count < 20.0


def test_what_never_ages_is_what_people_said() -> None:
    assert set(ageing.KINDS) - set(ageing.AGEING) == {"note", "acknowledge", "clock"}
    assert all(own_fields(kind) for kind in ageing.AGEING)
