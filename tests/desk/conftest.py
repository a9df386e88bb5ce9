"""A real PostgreSQL for the tests of the desk, and one day in a terminal's own store and in the desk's."""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from agent.config_desk import DeskDatabase
from agent.forward.batch import Batch, Row, packed, unpacked
from agent.forward.outbox import Cursors, Room, next_batch
from agent.inputs.messages import kind_of, to_message
from agent.service.pipeline import start_pipeline
from agent.store import reader
from agent.store.desk.opening import open_for_ingest, pool_of
from agent.store.desk.writer import DeskWriter
from agent.store.opening import open_for_reading
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import default_rules
from tests.desk.postgres import Postgres
from tests.live import sample_plan
from tests.plan.sample_job import job
from tests.watch.sample_day import MIDNIGHT_UNIX_S, full_day


@pytest.fixture(scope="package")
def postgres() -> Iterator[Postgres]:
    """One cluster for all of them."""
    cluster = Postgres()
    try:
        cluster.start()
        yield cluster
    finally:
        cluster.close()


@pytest.fixture
def database(postgres: Postgres) -> Iterator[DeskDatabase]:
    """An empty database for one test."""
    made = postgres.database()
    yield made
    pool_of(made).close()


TERMINAL = job().terminal


@pytest.fixture(scope="package")
def own(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A terminal's store with the sample day, as the agent writes it."""
    path = tmp_path_factory.mktemp("own") / "day.sqlite3"
    with closing(StoreWriter.open(path, TERMINAL, MIDNIGHT_UNIX_S)) as writer:
        pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
        for start in range(0, len(full_day()), 500):
            some = full_day()[start : start + 500]
            arrivals = [Arrival("", to_message(one), kind_of(one), one, one.unix_s) for one in some]
            pipeline.feed(pipeline.add(arrivals), some[-1].unix_s)
    return path


@pytest.fixture(scope="package")
def desk(own: Path, postgres: Postgres) -> Iterator[DeskDatabase]:
    """The desk's store, to which all of it was forwarded, single readings too, each batch twice."""
    database = postgres.database()
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
    yield database
    pool_of(database).close()
