"""One contract for a terminal's own store and the desk's: the same questions, the same answers."""

import time
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, closing
from pathlib import Path

import pytest

from agent.config_desk import DeskDatabase
from agent.forward.batch import Batch, PlanText, Row, packed, unpacked
from agent.forward.outbox import Cursors, Room, next_batch
from agent.inputs.messages import kind_of, to_message
from agent.records import AnyReading, Note, Signal
from agent.service.pipeline import start_pipeline
from agent.store import reader
from agent.store.desk.opening import open_desk, open_for_ingest
from agent.store.desk.writer import DeskWriter, FarTimeError
from agent.store.jobs import chosen_terminal, stored_job, stored_plan
from agent.store.opening import open_for_reading
from agent.store.questions import Connection
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import default_rules
from tests.live import sample_plan
from tests.plan.sample_job import job
from tests.watch.sample_day import MIDNIGHT_UNIX_S, START_UNIX_S, full_day

TERMINAL = job().terminal
SPAN = (MIDNIGHT_UNIX_S, MIDNIGHT_UNIX_S + 86_400.0)


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A terminal's store with the sample day, as the agent writes it."""
    path = tmp_path / "day.sqlite3"
    with closing(StoreWriter.open(path, TERMINAL, MIDNIGHT_UNIX_S)) as writer:
        pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
        for start in range(0, len(full_day()), 500):
            some = full_day()[start : start + 500]
            arrivals = [Arrival("", to_message(one), kind_of(one), one, one.unix_s) for one in some]
            pipeline.feed(pipeline.add(arrivals), some[-1].unix_s)
    return path


@pytest.fixture
def desk(own: Path, database: DeskDatabase) -> DeskDatabase:
    """The desk's store, to which all of it was forwarded, single readings too, each batch twice."""
    with closing(open_for_reading(own)) as connection, closing(open_for_ingest(database)) as ingesting:
        writer, cursors, more = DeskWriter(ingesting), Cursors(base=0), True
        while more:
            room = Room(thinned=True, single=True)
            found = next_batch(connection, TERMINAL, cursors, True, room)
            assert found is not None
            sent = unpacked(packed(found.batch))
            writer.ingest([sent, sent])
            writer.ingest([sent])
            cursors, more = found.after, found.more
        # Without the note that a stream has ended only minutes went.
        rows = [
            Row(seq=one.seq, reading=one.reading) for one in reader.readings_after(connection, TERMINAL, 0)
        ]
        writer.ingest([Batch(terminal=TERMINAL, seq=0, rows=rows)])
    return database


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
