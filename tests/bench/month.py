"""`python -m tests.bench.month`: a month at five readings a second: its size, a start and a look at it.

Two days are written as the agent writes them, the first one is packed, and its pieces, minutes and situations
are laid down 28 times more, under the days before.
"""

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from random import Random

from agent.commands.check import check_inputs, check_store
from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.records import AnyReading, Power, Reach, Signal, Temperature, Weather
from agent.service.pipeline import start_pipeline
from agent.store.ageing import DAY_S, age
from agent.store.writer import Arrival, StoreWriter
from agent.watch.rule_set import default_rules
from tests.live import TERMINAL, config_for, embedded_at, sample_plan
from tests.plan.sample_job import job
from tests.watch.sample_day import MIDNIGHT_UNIX_S

START_UNIX_S = MIDNIGHT_UNIX_S
COPIES = 28
# Of each day so many seconds have readings.
LENGTH_S = int(DAY_S)
GROUP = 500


def readings(start_unix_s: float) -> Iterator[AnyReading]:
    """Five a second, with the jitter of a network: two of the signal, and one of three other kinds."""
    chance = Random(start_unix_s)
    for second in range(LENGTH_S):
        unix_s = start_unix_s + second
        for part in range(2):
            level_db = round(14.0 + chance.gauss(0.0, 0.15), 1)
            yield Signal(
                unix_s=unix_s + part / 2 + chance.random() / 50,
                esno_db=level_db,
                locked=True,
                tx_power_dbm=33.0,
            )
        yield Reach(
            unix_s=unix_s + 0.6 + chance.random() / 50,
            rtt_ms=round(600 + chance.gauss(0, 8), 1),
            loss_percent=0.0,
            local_rtt_ms=round(abs(chance.gauss(1, 0.3)), 2),
        )
        where = ("transmitter", "modem", "ambient")[second % 3]
        degc = round(40.0 + chance.gauss(0, 0.2), 1)
        yield Temperature(unix_s=unix_s + 0.7 + chance.random() / 50, where=where, temperature_degc=degc)
        late_unix_s = unix_s + 0.8 + chance.random() / 50
        if second % 2:
            yield Weather(unix_s=late_unix_s, air_degc=degc - 12.0, wind_m_s=round(chance.random() * 8, 1))
        else:
            yield Power(unix_s=late_unix_s, source="mains", voltage_v=round(230 + chance.gauss(0, 1), 1))


def write(store: Path) -> None:
    """Two days as the agent writes them."""
    writer = StoreWriter.open(store, TERMINAL, START_UNIX_S)
    # How long the disk takes is not asked here.
    writer.connection.execute("PRAGMA synchronous = OFF")
    pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
    for day in range(2):
        group: list[Arrival] = []
        for one in readings(START_UNIX_S + day * DAY_S):
            kind = kind_of(one)
            received_unix_s = one.unix_s + 0.004
            group.append(Arrival(reading_topic(TERMINAL, kind), to_message(one), kind, one, received_unix_s))
            if len(group) == GROUP:
                pipeline.feed(pipeline.add(group), 0.0)
                group.clear()
        while age(writer.connection, TERMINAL, START_UNIX_S + (day + 1) * DAY_S, 90):
            pass
    pipeline.save_snapshot()
    pipeline.close()


def lengthen(store: Path) -> None:
    """The first day again, under the 28 days before it."""
    with closing(StoreWriter.open(store, TERMINAL, START_UNIX_S)) as writer:
        connection = writer.connection
        connection.execute("PRAGMA synchronous = OFF")
        end_unix_s = START_UNIX_S + DAY_S
        for copy in range(1, COPIES + 1):
            shift_s = -copy * DAY_S
            connection.execute("BEGIN")
            connection.execute(
                "INSERT INTO packed (terminal, kind, first_seq, last_seq, first_unix_s, last_unix_s, n, body)"
                " SELECT terminal, kind, -first_seq, -last_seq, first_unix_s + :s, last_unix_s + :s, n, body"
                " FROM packed WHERE first_unix_s >= :start",
                {"s": shift_s, "start": START_UNIX_S},
            )
            connection.execute(
                "INSERT INTO minute SELECT terminal, kind, place, field, minute_unix_s + :s, n, total, low,"
                " high, last FROM minute WHERE minute_unix_s >= :start AND minute_unix_s < :end",
                {"s": shift_s, "start": START_UNIX_S, "end": end_unix_s},
            )
            connection.execute(
                "INSERT INTO situation_minute SELECT terminal, unix_s + :s, body"
                " FROM situation_minute WHERE unix_s >= :start AND unix_s < :end",
                {"s": shift_s, "start": START_UNIX_S, "end": end_unix_s},
            )
            connection.execute("COMMIT")


def main() -> int:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "month.sqlite3"
        started_s = time.monotonic()
        write(store)
        print(
            f"two days written in {time.monotonic() - started_s:.0f} s: {store.stat().st_size / 1e6:.0f} MB"
        )
        lengthen(store)
        size = store.stat().st_size
        with closing(StoreWriter.open(store, TERMINAL, 0.0)) as writer:
            for name, pages in writer.connection.execute(
                "SELECT name, sum(pgsize) FROM dbstat GROUP BY name ORDER BY 2 DESC LIMIT 8"
            ):
                print(f"  {name}: {pages / 1e6:.0f} MB")
        started_s = time.monotonic()
        writer = StoreWriter.open(store, TERMINAL, 0.0)
        pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
        pipeline.catch_up(0.0)
        start_s = time.monotonic() - started_s
        pipeline.close()
        config = config_for(store, embedded_at(1883))
        started_s = time.monotonic()
        found = [check_store(config), *check_inputs(config, START_UNIX_S + 2 * DAY_S)]
        check_s = time.monotonic() - started_s
        print(f"a month of five readings a second: {size / 1e6:.0f} MB")
        print(f"start {start_s:.2f} s; store and inputs looked at in {check_s:.2f} s, {len(found)} lines")
    return 0


if __name__ == "__main__":
    sys.exit(main())
