"""One contract for a terminal's own store and the desk's: the same questions, the same answers."""

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path

import numpy as np
import pytest

from agent.config_desk import DeskDatabase
from agent.forward.batch import Batch, PlanText, Row
from agent.records import AnyReading, Note, Signal
from agent.store import reader
from agent.store.desk.opening import open_desk, open_for_ingest
from agent.store.desk.writer import DeskWriter, FarTimeError
from agent.store.jobs import chosen_terminal, stored_job, stored_plan
from agent.store.opening import open_for_reading
from agent.store.questions import Connection
from dashboard import queries
from tests.plan.sample_job import job
from tests.watch.sample_day import MIDNIGHT_UNIX_S, START_UNIX_S, full_day

TERMINAL = job().terminal
SPAN = (MIDNIGHT_UNIX_S, MIDNIGHT_UNIX_S + 86_400.0)


Pair = tuple[Connection, Connection]


@pytest.fixture
def both(own: Path, desk: DeskDatabase) -> Iterator[Pair]:
    with ExitStack() as stack:
        yield stack.enter_context(closing(open_for_reading(own))), stack.enter_context(open_desk(desk))


def test_the_same_questions_have_the_same_answers(both: Pair) -> None:
    own, desk = both
    for ask in (
        lambda one: list(reader.stored_between(one, TERMINAL, *SPAN)),
        lambda one: list(reader.stored_between(one, TERMINAL, START_UNIX_S + 7e3, START_UNIX_S + 9e3)),
        lambda one: list(reader.stored_between(one, "van-9", *SPAN)),
        lambda one: reader.events(one, TERMINAL),
        lambda one: [found.situation for found in reader.situations(one)],
        lambda one: reader.input_states(one, TERMINAL),
        lambda one: reader.latest_unix_s(one, TERMINAL),
        lambda one: reader.clock_offset_s(one, TERMINAL),
        lambda one: chosen_terminal(one, "here", None),
        lambda one: stored_job(one, TERMINAL),
        lambda one: stored_plan(one, TERMINAL),
    ):
        assert ask(own) == ask(desk)
    assert len(list(reader.stored_between(desk, TERMINAL, *SPAN))) == len(full_day())
    assert reader.events(desk, TERMINAL)


SIGNAL = queries.Channel(kind="signal", field="esno_db")
TRANSMITTER = queries.Channel(kind="temperature", field="temperature_degc", place="transmitter")
LOCKED = queries.Channel(kind="signal", field="locked")


def test_the_pages_questions_have_the_same_answers(own: Path, desk: DeskDatabase) -> None:
    with queries.open_store(own) as one, queries.open_store(desk) as other:
        alerts = reader.situations(one)[0].situation.alerts
        for ask in (
            lambda store: queries.known_terminals(store),
            lambda store: queries.newest_terminal(store),
            lambda store: queries.job(store, TERMINAL),
            lambda store: queries.events(store, TERMINAL, *SPAN),
            lambda store: [(one.unix_s, one.kind) for one in queries.notes(store, TERMINAL, *SPAN)],
            lambda store: [note.unix_s for note in queries.latest_notes(store, TERMINAL, 3)],
            lambda store: queries.seen_by(store, TERMINAL, alerts),
            lambda store: [row.current.situation for row in queries.terminals(store)],
        ):
            assert ask(one) == ask(other)
        found = [queries.history(store, TERMINAL, *SPAN, 2) for store in (one, other)]
        assert found[0].figures.keys() == found[1].figures.keys()
        assert len(found[0].unix_s) > 100
        np.testing.assert_array_equal(found[0].unix_s, found[1].unix_s)
        for channel in (SIGNAL, TRANSMITTER, LOCKED):
            for ask_series in (
                lambda store, channel: queries.readings(store, TERMINAL, channel, *SPAN),
                lambda store, channel: queries.minutes(store, TERMINAL, channel, SPAN, 300.0),
            ):
                ours, theirs = (ask_series(store, channel) for store in (one, other))
                assert len(ours.unix_s) > (0 if channel is LOCKED else 10)
                for name in ("unix_s", "middle", "low", "high"):
                    np.testing.assert_allclose(getattr(ours, name), getattr(theirs, name), rtol=1e-12)


def batch(rows: Sequence[Row], seq: int = 1) -> Batch:
    return Batch(terminal=TERMINAL, seq=seq, rows=rows)


@pytest.fixture
def writing(database: DeskDatabase) -> Iterator[DeskWriter]:
    with closing(open_for_ingest(database)) as connection:
        yield DeskWriter(connection)


def signals(database: DeskDatabase) -> list[AnyReading]:
    with open_desk(database) as connection:
        return [one.reading for one in reader.stored_between(connection, TERMINAL, *SPAN)]


def test_a_single_reading_takes_the_place_of_its_minute_and_never_the_other_way_round(
    writing: DeskWriter, database: DeskDatabase
) -> None:
    single = [Signal(unix_s=START_UNIX_S + 5.0 * place, esno_db=9.0 + place) for place in range(3)]
    middle = Signal(unix_s=single[-1].unix_s, esno_db=10.0)
    minute = Row(seq=3, reading=middle, n=3, low={"esno_db": 9.0}, high={"esno_db": 11.0})
    rows = [Row(seq=seq, reading=one) for seq, one in enumerate(single, start=1)]
    writing.ingest([batch([minute])])
    assert signals(database) == [middle]
    writing.ingest([batch(rows)])
    assert signals(database) == single
    writing.ingest([batch([minute]), batch([minute])])
    assert signals(database) == single


def test_what_no_text_of_the_database_can_hold_is_shown_as_such(
    writing: DeskWriter, database: DeskDatabase
) -> None:
    writing.ingest([batch([Row(seq=1, reading=Note(unix_s=START_UNIX_S, kind="other", text="a\0b"))])])
    (note,) = signals(database)
    assert isinstance(note, Note)
    assert note.text == "a\N{REPLACEMENT CHARACTER}b"


def test_a_time_far_off_is_refused_and_costs_nothing_else(
    writing: DeskWriter, database: DeskDatabase
) -> None:
    far = Row(seq=1, reading=Signal(unix_s=time.time() + 3e8, esno_db=9.0))
    with pytest.raises(FarTimeError, match="holds the time"):
        writing.ingest([batch([far])])
    assert signals(database) == []


def test_months_lie_in_partitions_of_their_own(writing: DeskWriter, database: DeskDatabase) -> None:
    times = (MIDNIGHT_UNIX_S, MIDNIGHT_UNIX_S - 40 * 86_400.0)
    writing.ingest(
        [batch([Row(seq=seq, reading=Signal(unix_s=one, esno_db=1.0)) for seq, one in enumerate(times)])]
    )
    with open_desk(database) as connection:
        rows = connection.execute("SELECT tableoid::regclass::text FROM signal ORDER BY unix_s").fetchall()
    assert [str(one) for (one,) in rows] == ["signal_2026_06", "signal_2026_07"]


def test_a_batch_that_comes_late_does_not_put_an_older_state_back(
    writing: DeskWriter, database: DeskDatabase
) -> None:
    newer, older = (PlanText(name, "{}", "{}") for name in ("newer", "older"))
    writing.ingest([Batch(terminal=TERMINAL, seq=2, plan=newer, inputs="[]")])
    writing.ingest([Batch(terminal=TERMINAL, seq=1, plan=older, inputs="[1]")])
    with open_desk(database) as connection:
        assert tuple(connection.execute("SELECT digest FROM plan").fetchone()) == ("newer",)
        assert tuple(connection.execute("SELECT body FROM input_state").fetchone()) == ("[]",)
