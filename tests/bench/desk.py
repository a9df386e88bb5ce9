"""`python -m tests.bench.desk [TERMINALS [SECONDS]]`: what a terminal costs a desk, what a desk holds out.

Rows a second into the desk's store, as a share of plain COPY of the same rows in the same run. Then so many
terminals, each of which sends a reading every ten seconds through Mosquitto to two workers: from publish to
answer, which comes after the commit, so that it bounds the time to the row from above.
"""

import asyncio
import itertools
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import aiomqtt
import psutil
from pydantic import TypeAdapter

from agent.config_desk import DeskDatabase
from agent.forward.batch import Batch, PlanText, Row, packed, receipt
from agent.inputs.messages import HAVE, batch_topic, desk_topic, kind_of
from agent.job import Job
from agent.records import AnyReading, Power, Signal, Temperature, Throughput, Weather
from agent.store.desk.opening import open_for_ingest, pool_of
from agent.store.desk.writer import DeskWriter, Plain, columns_of, reading_row
from dashboard.app import build_app
from dashboard.settings import Settings
from tests.dashboard.scenes import SCENES
from tests.desk.faults import desk_config
from tests.desk.postgres import Postgres
from tests.live import ROOT
from tests.plan.sample_job import job as sample_job
from tests.processes import Mosquitto

JOB = TypeAdapter(Job)
EVERY_S = 10.0
GROUP = 100
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class Ratio:
    """Rows a second into the desk's store and by plain COPY; bytes that a row takes with its index."""

    ours_a_s: float
    copy_a_s: float
    row_bytes: float


def minute_rows(unix_s: float, numbers: Iterator[int]) -> list[Row]:
    """A minute of a terminal with every usual input, thinned."""
    found: list[AnyReading] = [
        Signal(
            unix_s=unix_s,
            locked=True,
            esno_db=13.9,
            uplink_esno_db=11.2,
            tx_power_dbm=38.5,
            modcod="16APSK 3/4",
        ),
        Temperature(unix_s=unix_s, where="transmitter", temperature_degc=44.5),
        Temperature(unix_s=unix_s, where="modem", temperature_degc=39.0),
        Temperature(unix_s=unix_s, where="ambient", temperature_degc=31.0),
        Weather(
            unix_s=unix_s, air_degc=31.0, rain_mm_h=0.0, wind_m_s=3.1, gust_m_s=5.2, irradiance_w_m2=812.0
        ),
        Power(unix_s=unix_s, source="mains", voltage_v=231.0, battery_percent=100.0),
        Throughput(unix_s=unix_s, method="passive", up_mbps=2.4, stream_mbps=2.5),
    ]
    return [Row(seq=next(numbers), reading=one, n=12) for one in found]


def batches(terminals: int, minutes: int) -> list[Batch]:
    """Of so many terminals, minute by minute."""
    start_unix_s, numbers = time.time() - minutes * MINUTE_S, itertools.count(1)
    return [
        Batch(
            terminal=f"van-{place}",
            seq=minute,
            rows=minute_rows(start_unix_s + minute * MINUTE_S + place * 1e-3, numbers),
        )
        for minute in range(minutes)
        for place in range(terminals)
    ]


def copy_ratio(database: DeskDatabase, terminals: int, minutes: int) -> Ratio:
    """Groups of as many batches in turn: by the desk's writer, and by COPY into tables without an index."""
    sent = batches(terminals, minutes)
    kinds = sorted({kind_of(row.reading) for row in sent[0].rows})
    with closing(open_for_ingest(database)) as connection:
        writer = DeskWriter(connection)
        writer.ingest(sent[:1])
        for kind in kinds:
            connection.execute(f'CREATE TABLE "plain_{kind}" (LIKE "{kind}")'.encode())
        ours_s = copy_s = 0.0
        for start in range(1, len(sent), GROUP):
            group = sent[start : start + GROUP]
            began_s = time.perf_counter()
            writer.ingest(group)
            ours_s += time.perf_counter() - began_s
            began_s = time.perf_counter()
            copy_plain(connection, group)
            copy_s += time.perf_counter() - began_s
        listed = ", ".join(f"'\"{kind}\"'::regclass" for kind in kinds)
        size = connection.execute(
            "SELECT sum(pg_total_relation_size(inhrelid)) FROM pg_inherits"
            f" WHERE inhparent IN ({listed})".encode()
        ).fetchone()
    rows = sum(len(one.rows) for one in sent)
    return Ratio(rows / ours_s, rows / copy_s, float(str(size[0])) / rows if size else float("nan"))


def copy_plain(connection: Plain, group: Sequence[Batch]) -> None:
    """The same rows in one transaction, and nothing else."""
    rows: dict[str, list[tuple[object, ...]]] = {}
    for batch in group:
        for row in batch.rows:
            kind = kind_of(row.reading)
            rows.setdefault(kind, []).append(reading_row(batch.terminal, kind, row, 0.0))
    with connection.transaction(), connection.cursor() as cursor:
        for kind, found in rows.items():
            columns = ", ".join(f'"{name}"' for name in columns_of(kind))
            with cursor.copy(f'COPY "plain_{kind}" ({columns}) FROM STDIN'.encode()) as copy:
                for one in found:
                    copy.write_row(one)


@dataclass(frozen=True, slots=True)
class Sustained:
    """Seconds from publish to answer (sorted), of how many sent, and the processor's share by program."""

    answered_s: Sequence[float]
    sent: int
    processor: Mapping[str, float]


async def sustained(
    folder: Path, database: DeskDatabase, port: int, terminals: int, seconds: float
) -> Sustained:
    """So many terminals, a reading every ten seconds each, spread evenly."""
    config = desk_config(folder, port, database)
    command = [sys.executable, "-m", "agent", "desk", str(config), "--no-dashboard"]
    desk = subprocess.Popen(command, cwd=ROOT)  # noqa: ASYNC220 - takes milliseconds
    waiting: dict[bytes, float] = {}
    answered: list[float] = []
    try:
        async with aiomqtt.Client("127.0.0.1", port, max_queued_outgoing_messages=0) as client:
            await client.subscribe(desk_topic("+", HAVE), qos=1)
            hearing = asyncio.create_task(_hear(client, waiting, answered))
            await _warm_up(client, waiting, answered)
            answered.clear()
            before = {name: processor_s(name) for name in PROGRAMS}
            began_s = time.perf_counter()
            sent = await _publish(client, waiting, terminals, seconds)
            took_s = time.perf_counter() - began_s
            after = {name: processor_s(name) for name in PROGRAMS}
            deadline_s = time.perf_counter() + 60.0
            while waiting and time.perf_counter() < deadline_s:  # noqa: ASYNC110 - a bench
                await asyncio.sleep(0.05)
            hearing.cancel()
    finally:
        desk.terminate()
        desk.wait()
    share = {name: (after[name] - before[name]) / took_s for name in PROGRAMS}
    return Sustained(sorted(answered), sent, share)


PROGRAMS = {"worker": "--work", "postgres": "postgres", "mosquitto": "mosquitto"}


def processor_s(name: str) -> float:
    """Seconds of processor time of the programs of this name that descend from this one."""
    total = 0.0
    for process in psutil.Process().children(recursive=True):
        try:
            if PROGRAMS[name] in " ".join(process.cmdline()):
                total += sum(process.cpu_times()[:2])
        except psutil.NoSuchProcess:
            continue
    return total


async def _hear(client: aiomqtt.Client, waiting: dict[bytes, float], answered: list[float]) -> None:
    async for message in client.messages:
        sent_s = waiting.pop(bytes(message.payload), None)
        if sent_s is not None:
            answered.append(time.perf_counter() - sent_s)


def _one(terminal: str, number: int) -> bytes:
    reading = Signal(unix_s=time.time(), locked=True, esno_db=13.0 + random.random(), uplink_esno_db=11.2)
    return packed(Batch(terminal=terminal, seq=number, rows=[Row(seq=number, reading=reading)]))


async def _warm_up(client: aiomqtt.Client, waiting: dict[bytes, float], answered: list[float]) -> None:
    """Until a worker answers."""
    for number in itertools.count(1):
        payload = _one("warm-up", number)
        waiting[receipt(payload)] = time.perf_counter()
        await client.publish(batch_topic("warm-up"), payload, qos=1)
        await asyncio.sleep(0.5)
        if answered:
            waiting.clear()
            return


async def _publish(
    client: aiomqtt.Client, waiting: dict[bytes, float], terminals: int, seconds: float
) -> int:
    started_s, count = time.perf_counter(), round(seconds * terminals / EVERY_S)
    for sent in range(count):
        await asyncio.sleep(started_s + sent * EVERY_S / terminals - time.perf_counter())
        terminal = f"van-{sent % terminals}"
        payload = _one(terminal, sent + 1)
        waiting[receipt(payload)] = time.perf_counter()
        await client.publish(batch_topic(terminal), payload, qos=1)
    return count


def pages(database: DeskDatabase, terminals: int) -> tuple[float, float, float]:
    """Seconds of the first terminals page of so many, of a refresh, and of its processor time (medians)."""
    with closing(open_for_ingest(database)) as connection:
        scenes = itertools.cycle(SCENES.values())
        job = JOB.dump_json(sample_job()).decode()
        DeskWriter(connection).ingest(
            [
                Batch(terminal=f"van-{place}", seq=1, situation=next(scenes), plan=PlanText("", job, "{}"))
                for place in range(terminals)
            ]
        )
    settings = Settings(store=database, mqtt_host="", mqtt_port=1, desk=True)
    browser = build_app(settings, None).server.test_client()
    took_s, used_s = [], []
    for path in ("/terminals", *["/terminals/list"] * 9):
        began_s, before_s = time.perf_counter(), time.process_time()
        assert browser.get(path).status_code == 200
        used_s.append(time.process_time() - before_s)
        took_s.append(time.perf_counter() - began_s)
    pool_of(database).close()
    return took_s[0], statistics.median(took_s[1:]), statistics.median(used_s[1:])


def main(terminals: int = 1000, seconds: float = 60.0) -> None:
    """Print what was measured."""
    postgres = Postgres()
    try:
        postgres.start()
        ratio = copy_ratio(postgres.database(), 100, 60)
        print(
            f"rows into the desk's store: {ratio.ours_a_s:,.0f} a second,"
            f" {ratio.ours_a_s / ratio.copy_a_s:.2f} of plain COPY ({ratio.copy_a_s:,.0f});"
            f" {ratio.row_bytes:.0f} bytes a row with its index"
        )
        first_s, refresh_s, used_s = pages(postgres.database(), terminals)
        print(
            f"page of {terminals} terminals: first {first_s:.2f} s, refresh {1e3 * refresh_s:.0f} ms,"
            f" of which {1e3 * used_s:.0f} ms of this processor"
        )
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            broker = Mosquitto(folder, in_flight=200)
            broker.start()
            try:
                found = asyncio.run(sustained(folder, postgres.database(), broker.port, terminals, seconds))
            finally:
                broker.stop()
    finally:
        postgres.close()
    p50, p99 = (found.answered_s[int(len(found.answered_s) * part)] for part in (0.5, 0.99))
    shares = ", ".join(f"{name} {100.0 * share:.1f} %" for name, share in found.processor.items())
    print(
        f"{terminals} terminals, a reading in {EVERY_S:g} s each, {seconds:g} s: {len(found.answered_s)} of"
        f" {found.sent} answered, publish to answer p50 {1e3 * p50:.0f} ms, p99 {1e3 * p99:.0f} ms;"
        f" of a core: {shares}"
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
