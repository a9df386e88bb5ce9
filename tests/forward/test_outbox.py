"""What lies behind the cursors of a store, batch by batch."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from math import floor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.forward.batch import Batch, Row, packed
from agent.forward.outbox import (
    MOST_ROWS,
    Cursors,
    Hours,
    Next,
    Room,
    asking,
    cursors_text,
    first_cursors,
    next_batch,
    saved_cursors,
    want_text,
)
from agent.forward.thinning import thinned
from agent.inputs.messages import kind_of, to_message
from agent.records import AnyReading, Note, Signal
from agent.replay.sessions import read_session
from agent.service.forwarding import AROUND_BYTES
from agent.service.pipeline import Pipeline, start_pipeline
from agent.store.ageing import AGEING
from agent.store.reader import events, readings_after
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import default_rules
from tests.live import ROOT, sample_plan
from tests.plan.sample_job import job
from tests.watch.sample_day import MIDNIGHT_UNIX_S, full_day

TERMINAL = job().terminal
ALL = Room(thinned=True, single=True)
DAY_MB = 5.0
HOURS = 2.0


def arrival(reading: AnyReading) -> Arrival:
    return Arrival("", to_message(reading), kind_of(reading), reading, reading.unix_s)


@pytest.fixture
def writer(tmp_path: Path) -> Iterator[StoreWriter]:
    with closing(StoreWriter.open(tmp_path / "day.sqlite3", TERMINAL, MIDNIGHT_UNIX_S)) as opened:
        yield opened


def pipeline_of(writer: StoreWriter) -> Pipeline:
    return start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)


def hear(pipeline: Pipeline, readings: Sequence[AnyReading]) -> None:
    pipeline.feed(pipeline.add([arrival(one) for one in readings]), readings[-1].unix_s)


def begun(writer: StoreWriter) -> Cursors:
    cursors = first_cursors(writer.connection, TERMINAL, MIDNIGHT_UNIX_S)
    writer.begin_forwarding(cursors.base, cursors_text(cursors))
    return cursors


def all_batches(writer: StoreWriter, room: Room = ALL) -> list[Batch]:
    """Until nothing is left; the cursors are saved as the desk confirms them."""
    found: list[Batch] = []
    while (one := due_batch(writer, room)) is not None and (one.batch.rows or one.batch.minutes or not found):
        found.append(one.batch)
        writer.save_forwarded(one.after.base, cursors_text(one.after))
    return found


def due_batch(writer: StoreWriter, room: Room = ALL) -> Next | None:
    cursors = saved_cursors(writer.connection, TERMINAL)
    assert cursors is not None
    return next_batch(writer.connection, TERMINAL, cursors, True, room)


def rows_of(batches: Sequence[Batch]) -> list[Row]:
    return [row for batch in batches for row in batch.rows]


def test_a_day_goes_once_minute_by_minute_with_what_was_told_and_said(writer: StoreWriter) -> None:
    pipeline = pipeline_of(writer)
    base = begun(writer).base
    day = full_day()
    hear(pipeline, day[: len(day) // 2])
    batches = all_batches(writer)
    hear(pipeline, day[len(day) // 2 :])
    batches += all_batches(writer)
    sent = rows_of(batches)
    stored = list(readings_after(writer.connection, TERMINAL, 0))
    told = [Row(seq=base + one.seq, reading=one.reading) for one in stored if one.kind not in AGEING]
    assert [row for row in sent if kind_of(row.reading) not in AGEING] == told
    last_minute = floor(stored[-1].reading.unix_s / 60.0) * 60.0
    ageing = (one for one in stored if one.kind in AGEING)
    minutes = [row for minute in thinned(ageing, last_minute) for row in minute]
    whole = [row for row in sent if kind_of(row.reading) in AGEING]
    assert whole == [replace(row, seq=base + row.seq) for row in minutes]
    said = [event for batch in batches for event in batch.events]
    assert said == events(writer.connection, TERMINAL)
    assert said
    assert sum(batch.plan is not None for batch in batches) == 1
    assert all(len(batch.rows) < 2 * MOST_ROWS for batch in batches)


def test_what_was_told_goes_at_once_and_the_rest_when_it_is_due(writer: StoreWriter) -> None:
    pipeline = pipeline_of(writer)
    begun(writer)
    all_batches(writer)
    cursors = saved_cursors(writer.connection, TERMINAL)
    assert cursors is not None
    assert next_batch(writer.connection, TERMINAL, cursors, False, ALL) is None
    hear(pipeline, [Signal(unix_s=MIDNIGHT_UNIX_S + 5.0 * place, esno_db=9.0) for place in range(40)])
    note = Note(unix_s=MIDNIGHT_UNIX_S + 300.0, kind="rain", id="a")
    hear(pipeline, [note])
    found = next_batch(writer.connection, TERMINAL, cursors, False, ALL)
    assert found is not None
    assert [row.reading for row in found.batch.rows] == [note]
    found = next_batch(writer.connection, TERMINAL, found.after, True, ALL)
    assert found is not None
    assert [(row.n, kind_of(row.reading)) for row in found.batch.rows] == [(12, "signal")] * 3 + [
        (4, "signal")
    ]


def test_beyond_the_budget_goes_only_what_people_and_the_watch_say(writer: StoreWriter) -> None:
    pipeline = pipeline_of(writer)
    begun(writer)
    hear(pipeline, full_day()[:2000])
    batches = all_batches(writer, Room(thinned=False, single=False))
    assert {kind_of(row.reading) for row in rows_of(batches)} == {"note", "acknowledge"}
    assert not [batch for batch in batches if batch.minutes]
    later = rows_of(all_batches(writer))
    assert {kind_of(row.reading) for row in later} > {"signal", "temperature"}


def test_single_readings_go_once_the_stream_has_ended_and_where_the_desk_asks(writer: StoreWriter) -> None:
    pipeline = pipeline_of(writer)
    begun(writer)

    def minute(number: int) -> list[AnyReading]:
        return [
            Signal(unix_s=MIDNIGHT_UNIX_S + 60.0 * number + 10.0 * place, esno_db=9.0 + place)
            for place in range(6)
        ]

    hear(pipeline, [Note(unix_s=MIDNIGHT_UNIX_S, kind="stream-start"), *minute(1), *minute(2)])
    assert {row.n for row in rows_of(all_batches(writer)) if kind_of(row.reading) == "signal"} == {6}
    hear(pipeline, [Note(unix_s=MIDNIGHT_UNIX_S + 175.0, kind="stream-stop"), *minute(3), *minute(4)])
    sent = [row for row in rows_of(all_batches(writer)) if kind_of(row.reading) == "signal"]
    assert [row.reading for row in sent if row.n == 1] == [*minute(2), *minute(3), *minute(4)]
    cursors = saved_cursors(writer.connection, TERMINAL)
    assert cursors is not None
    want = want_text(Hours(from_unix_s=MIDNIGHT_UNIX_S + 60.0, to_unix_s=MIDNIGHT_UNIX_S + 120.0))
    wanting = asking(writer.connection, TERMINAL, cursors, want)
    found = next_batch(writer.connection, TERMINAL, wanting, True, ALL)
    assert found is not None
    asked = [row.reading for row in found.batch.rows if row.n == 1 and kind_of(row.reading) == "signal"]
    assert asked == minute(1)
    assert asking(writer.connection, TERMINAL, found.after, want) == found.after


def test_a_store_that_takes_the_place_of_another_has_greater_numbers_and_keeps_its_own_count(
    writer: StoreWriter, tmp_path: Path
) -> None:
    first = begun(writer)
    with closing(StoreWriter.open(tmp_path / "new.sqlite3", TERMINAL, MIDNIGHT_UNIX_S)) as new:
        new.save_forwarded(first.base, cursors_text(replace(first, told=99)))
        assert saved_cursors(new.connection, TERMINAL) is None
        later = first_cursors(new.connection, TERMINAL, MIDNIGHT_UNIX_S + 60.0)
        assert later.base >= first.base + 60_000


@given(st.binary(max_size=60))
def test_a_wish_that_cannot_be_read_is_none(want: bytes) -> None:
    with pytest.raises(ValueError):
        asking(None, TERMINAL, Cursors(base=1), want)  # type: ignore[arg-type]


def test_a_bundled_day_costs_less_than_five_megabytes(writer: StoreWriter) -> None:
    """As it goes: a batch a minute. Two hours of it; a whole day costs as much an hour."""
    session = read_session(ROOT / "replay_data" / "salt-pan-summer")
    pipeline = start_pipeline(writer, session.job, sample_plan(), default_rules(), 120.0)
    cursors = first_cursors(writer.connection, TERMINAL, session.start_unix_s)
    size, minute = 0, []
    for reading in session.readings:
        if reading.unix_s > session.start_unix_s + HOURS * 3600.0:
            break
        minute.append(reading)
        if reading.unix_s - minute[0].unix_s >= 60.0:
            hear(pipeline, minute)
            minute = []
            found = next_batch(writer.connection, TERMINAL, cursors, True, Room(thinned=True, single=False))
            assert found is not None
            size, cursors = size + len(packed(found.batch)) + AROUND_BYTES, found.after
    assert size / HOURS * 24.0 < DAY_MB * 1e6
