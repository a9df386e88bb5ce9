"""The live agent on damaged stores and full disks: the watch goes on, and says what happened."""

import asyncio
import json
import random
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import replace
from pathlib import Path

import paho.mqtt.publish
import pytest

from agent.cli import main
from agent.clock import played_clock
from agent.config import LOOPBACK, BrokerSettings
from agent.inputs.messages import alert_message, alert_topic, status_topic
from agent.inputs.player import play
from agent.records import AlertEvent, AnyReading, Note
from agent.service import keeping
from agent.service.live import run_agent
from agent.service.pipeline import Pipeline, start_pipeline
from agent.store.opening import open_for_reading
from agent.store.reader import situations
from agent.store.room import room_left
from agent.store.writer import StoreWriter
from agent.watch.rule_set import default_rules
from dashboard.page_data.terminal import crew_data
from dashboard.settings import Settings
from tests.faults import failing_disk
from tests.inputs.test_mqtt import until
from tests.live import TERMINAL, embedded_at, integrity, retained, sample_agent, sample_plan, stored_readings
from tests.plan.sample_job import job
from tests.processes import LOADED, PATIENCE_S, Mosquitto, free_port
from tests.test_service import arrivals
from tests.watch.sample_day import events_of, full_day

# With a standing re-peak alert at its end.
RAISED_UNIX_S = next(
    event.unix_s
    for event in events_of(full_day(), sample_plan())
    if event.rule == "repeak" and event.state == "raised"
)
MORNING = [one for one in full_day() if one.unix_s < RAISED_UNIX_S + 30.0]
Damage = Callable[[Path], None]


@pytest.fixture(scope="module")
def morning(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """A store in which an alert stands."""
    path = tmp_path_factory.mktemp("morning") / "day.sqlite3"
    writer = StoreWriter.open(path, TERMINAL, MORNING[0].unix_s)
    pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
    pipeline.feed(pipeline.add(arrivals(MORNING)), 0.0)
    pipeline.save_snapshot()
    pipeline.close()
    assert "repeak" in standing(path)
    return path.read_bytes()


@pytest.fixture
def store(tmp_path: Path, morning: bytes) -> Path:
    path = tmp_path / "day.sqlite3"
    path.write_bytes(morning)
    return path


def standing(path: Path) -> set[str]:
    """The alerts that stand by the store."""
    with closing(open_for_reading(path)) as connection:
        return {alert.event.rule for one in situations(connection) for alert in one.situation.alerts}


def watched(
    store: Path, wanted: Callable[[], bool], outside: BrokerSettings | None = None
) -> tuple[list[AlertEvent], float]:
    """Run the agent until it has stored a new reading and `wanted` holds; events, seconds to the reading."""
    heard: list[AlertEvent] = []
    broker = outside or embedded_at(free_port())
    clock = played_clock(MORNING[-1].unix_s + 5.0, 1.0)
    agent = replace(sample_agent(store, broker, clock), on_events=heard.extend)
    reading: AnyReading = replace(MORNING[-1], unix_s=MORNING[-1].unix_s + 5.0)
    took: list[float] = []

    async def test() -> None:
        stop = asyncio.Event()
        started_s = time.monotonic()

        async def device() -> None:
            await play(broker, TERMINAL, [reading], clock)
            took.append(time.monotonic() - started_s)
            async with asyncio.timeout(PATIENCE_S):
                while not wanted():  # noqa: ASYNC110 - a file has no event
                    await asyncio.sleep(0.05)
            stop.set()

        await run_agent(agent, stop, {"device": device})

    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))
    return heard, took[0]


def aside(store: Path) -> list[Path]:
    """The files that were set aside, without their logs."""
    return sorted(one for one in store.parent.glob(f"{store.name}.damaged-*") if one.suffix != ".sqlite3-wal")


def flipped(count: int, seed: int) -> Damage:
    """So many pages with a byte turned in each."""

    def damage(path: Path) -> None:
        rng = random.Random(seed)
        data = bytearray(path.read_bytes())
        for _ in range(count):
            data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        path.write_bytes(data)

    return damage


def cut(share: float) -> Damage:
    """The file ends early."""
    return lambda path: path.write_bytes(path.read_bytes()[: int(path.stat().st_size * share)])  # type: ignore[return-value]


def overwritten(path: Path) -> None:
    path.write_bytes(b"\xff" * path.stat().st_size)


def header_gone(path: Path) -> None:
    path.write_bytes(bytes(100) + path.read_bytes()[100:])


def foreign_log(path: Path) -> None:
    """The log of another store lies beside the file."""
    other = path.with_name("other.sqlite3")
    with closing(sqlite3.connect(other, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("CREATE TABLE t (x)")
        connection.execute("INSERT INTO t VALUES (zeroblob(100000))")
        path.with_name(f"{path.name}-wal").write_bytes(other.with_name(f"{other.name}-wal").read_bytes())


def snapshot_broken(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE engine_snapshot SET body = substr(body, 1, 500)")


def wrong_type(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("UPDATE engine_snapshot SET seq = seq - 50")
        connection.execute("UPDATE signal SET esno_db = 'x' WHERE seq > (SELECT max(seq) - 20 FROM signal)")


@pytest.mark.parametrize(
    "damage",
    [overwritten, header_gone, cut(0.0), cut(0.3), cut(0.95), foreign_log, snapshot_broken, wrong_type]
    + [flipped(count, seed) for count in (1, 30, 3000) for seed in range(3)],
)
def test_the_watch_goes_on_whatever_happened_to_the_file(store: Path, damage: Damage) -> None:
    """A reading is on the disk within ten seconds of the start, and the store is whole in the end."""
    damage(store)
    _, took_s = watched(store, lambda: not broken(store))
    assert took_s < 10.0 * LOADED
    assert stored_readings(store)[-1].unix_s >= MORNING[-1].unix_s
    assert integrity(store) == "ok"


def broken(store: Path) -> bool:
    """Whether SQLite finds fault with the file."""
    try:
        return integrity(store) != "ok"
    except sqlite3.Error:
        return True


@pytest.mark.parametrize("damage", [cut(0.95), flipped(30, 1), snapshot_broken])
def test_alerts_that_stood_are_carried_on(store: Path, damage: Damage) -> None:
    damage(store)
    heard, _ = watched(store, lambda: not broken(store))
    assert "repeak" in standing(store)
    assert not [event for event in heard if event.rule == "repeak" and event.state == "cleared"]


@pytest.mark.mosquitto
def test_alerts_that_no_store_knows_are_those_that_the_broker_has_retained(
    store: Path, mosquitto: Mosquitto
) -> None:
    """Section 3.3.1.3 of MQTT 3.1.1: a retained message outlives its sender. What is none costs nothing."""
    with closing(open_for_reading(store)) as connection:
        (stood,) = (
            alert
            for one in situations(connection)
            for alert in one.situation.alerts
            if alert.event.rule == "repeak"
        )
    over = replace(stood.event, rule="shade", state="cleared")
    seen = replace(stood.event, rule="on-battery", state="acknowledged")
    kept = {
        "repeak": alert_message(stood.event),
        "shade": alert_message(over),
        "on-battery": alert_message(seen),
    }
    kept |= {"blockage": b"{}", "below-plan": b"no JSON", "link-down": b"[1]"}
    messages = [(alert_topic(TERMINAL, rule), payload, 1, True) for rule, payload in kept.items()]
    paho.mqtt.publish.multiple(messages, LOOPBACK, mosquitto.port)
    overwritten(store)

    def taken_up() -> bool:
        return not broken(store) and "repeak" in standing(store)

    watched(store, taken_up, mosquitto.settings)
    assert standing(store) == {"repeak", "on-battery"}
    with closing(open_for_reading(store)) as connection:
        alerts = {one.event.rule: one for found in situations(connection) for one in found.situation.alerts}
    assert alerts["repeak"].since_unix_s == pytest.approx(stood.event.unix_s, abs=0.001)
    assert [alerts[rule].acknowledged for rule in ("repeak", "on-battery")] == [False, True]


def while_running(store: Path, act: Damage) -> tuple[list[AlertEvent], list[object]]:
    """Do it to the agent's file after the first of three readings; the events, and the numbers stored."""
    heard: list[AlertEvent] = []
    broker = embedded_at(free_port())
    clock = played_clock(MORNING[-1].unix_s + 5.0, 1.0)
    agent = replace(sample_agent(store, broker, clock), on_events=heard.extend)
    later = [
        replace(MORNING[-1], unix_s=MORNING[-1].unix_s + 5.0, extra={"n": number}) for number in range(3)
    ]

    async def test() -> None:
        stop = asyncio.Event()

        async def device() -> None:
            await play(broker, TERMINAL, later[:1], clock)
            act(store)
            await play(broker, TERMINAL, later[1:2], clock)
            async with asyncio.timeout(PATIENCE_S):
                while not any(event.rule == "store" for event in heard):  # noqa: ASYNC110
                    await asyncio.sleep(0.05)
            await play(broker, TERMINAL, later[2:], clock)
            stop.set()

        await run_agent(agent, stop, {"device": device})

    asyncio.run(asyncio.wait_for(test(), 2 * PATIENCE_S))
    return heard, [one.extra.get("n") for one in stored_readings(store)]


def removed(path: Path) -> None:
    path.unlink()


def all_removed(path: Path) -> None:
    for one in path.parent.glob(f"{path.name}*"):
        one.unlink()


def another_in_its_place(path: Path) -> None:
    path.with_name("other").write_bytes(path.read_bytes()[:8192])
    path.with_name("other").replace(path)


def log_exchanged(path: Path) -> None:
    log = path.with_name(f"{path.name}-wal")
    log.unlink()
    log.write_bytes(b"x" * 10_000)


@pytest.mark.parametrize("act", [removed, all_removed, another_in_its_place, log_exchanged])
def test_a_file_that_is_taken_away_while_it_is_open_comes_back_whole(store: Path, act: Damage) -> None:
    """Regression: readings were acknowledged, and were in a file without a name."""
    heard, stored = while_running(store, act)
    assert stored == [None] * len(MORNING) + [0, 1, 2]
    assert integrity(store) == "ok"
    (event,) = (event for event in heard if event.rule == "store")
    assert "was taken away while the agent had it open" in event.evidence[0]
    assert store.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("act", [overwritten, cut(0.0)])
def test_a_file_that_is_damaged_while_it_is_open_is_set_aside(
    store: Path, act: Callable[[Path], None]
) -> None:
    """Regression: SQLite went on from its memory, and no page and no report could read anything."""
    heard, stored = while_running(store, act)
    assert stored[-1] == 2
    assert integrity(store) == "ok"
    assert len([event for event in heard if event.rule == "store"]) == 1
    assert "repeak" in standing(store)


def test_a_file_that_is_set_aside_is_named_everywhere(store: Path) -> None:
    overwritten(store)
    states: list[object] = []

    def told() -> bool:
        with closing(open_for_reading(store)) as connection:
            rows = connection.execute("SELECT body FROM input_state").fetchall()
        states[:] = [one for (body,) in rows for one in json.loads(body) if one["name"] == "store"]
        return bool(states)

    heard, _ = watched(store, told)
    (name,) = aside(store)
    (event,) = (event for event in heard if event.rule == "store")
    assert f"peakshade rescue {name} OUT" in event.action
    assert name.name in str(states)
    assert name.read_bytes()[:4] == b"\xff" * 4


def test_ten_broken_files_are_enough(store: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A disk that breaks every file is not filled with them."""

    starts: list[object] = []

    def start(one: object) -> Pipeline:
        starts.append(one)
        store.write_bytes(b"broken")
        raise sqlite3.DatabaseError("made to fail")

    kept = keeping.Kept(store, TERMINAL, start, lambda _: None, lambda _: None, time.time)
    made = keeping.Keeper(kept, asyncio.Event(), lambda _: None, lambda: None)
    monkeypatch.setattr(keeping, "RETRY_S", 0.0)

    async def test() -> None:
        opening = asyncio.create_task(made.open())
        await until(lambda: len(starts) >= 2 * keeping.MOST_SET_ASIDE)
        opening.cancel()
        await asyncio.wait([opening])

    asyncio.run(test())
    assert len(aside(store)) == keeping.MOST_SET_ASIDE
    assert made.store.state == "failing"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of three megabytes; skipped where it cannot be mounted."""
    folder = tmp_path / "disk"
    folder.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "none", folder], capture_output=True)
    if mounted.returncode:
        pytest.skip(f"a file system cannot be mounted here: {mounted.stderr.decode().strip()}")
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


@pytest.mark.parametrize("freed", [True, False])
def test_a_full_disk_is_said_waited_for_and_no_reason_not_to_end(
    small_disk: Path, morning: bytes, monkeypatch: pytest.MonkeyPatch, freed: bool
) -> None:
    """The retained status says it; what comes is stored once there is room; the agent ends in time."""
    monkeypatch.setattr(keeping, "RETRY_S", 0.2)
    store, filler = small_disk / "day.sqlite3", small_disk / "filler"
    store.write_bytes(morning)
    clock = played_clock(MORNING[-1].unix_s + 5.0, 1.0)
    broker = embedded_at(free_port())
    agent = sample_agent(store, broker, clock)
    ended_s = [0.0]

    async def status(wanted: str) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while wanted not in str(await asyncio.to_thread(retained, broker.port, status_topic(TERMINAL))):
                pass

    async def test() -> None:
        stop = asyncio.Event()

        async def device() -> None:
            await status("online")
            await asyncio.to_thread(fill, filler)
            note = Note(unix_s=clock.now(), kind="other", extra={"x": "x" * 60_000})
            sending = asyncio.create_task(play(broker, TERMINAL, [note], clock))
            await status("disk is full")
            assert not sending.done()
            if freed:
                filler.unlink()
                await asyncio.wait_for(sending, PATIENCE_S)
            ended_s[0] = time.monotonic()
            stop.set()
            sending.cancel()

        await run_agent(agent, stop, {"device": device})

    asyncio.run(asyncio.wait_for(test(), PATIENCE_S))
    assert time.monotonic() - ended_s[0] < 10.0 * LOADED
    assert (stored_readings(store)[-1].extra != {}) == freed
    assert not aside(store)


def fill(path: Path) -> None:
    """Write until the disk takes no more."""
    with path.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(b"x" * 4096)


def test_a_disk_that_is_almost_full_is_said_by_status_and_page(small_disk: Path, morning: bytes) -> None:
    store = small_disk / "day.sqlite3"
    store.write_bytes(morning)
    assert "free some space" in said_of_the_disk(store)


def test_a_disk_that_an_error_made_read_only_is_said_by_status_and_page(
    tmp_path: Path, morning: bytes
) -> None:
    """What the agent does then, and that nothing is lost: `stop_disk` of tests/faults.py."""
    with failing_disk(tmp_path / "disk") as disk:
        if disk is None:
            pytest.skip("a file system in a file cannot be mounted here")
        store = disk.folder / "day.sqlite3"
        store.write_bytes(morning)
        with closing(StoreWriter.open(store, TERMINAL, 0.0)):
            disk.fail()
            assert "takes nothing" in said_of_the_disk(store)


def said_of_the_disk(store: Path) -> str:
    """What status and page say; both look themselves, as the agent can write nothing down any more."""
    assert main(["status", "--store", str(store)]) == 1
    shown = crew_data(Settings(store=store, mqtt_host="127.0.0.1", mqtt_port=1), None)
    assert shown is not None
    assert [(one.name, one.state) for one in shown.inputs] == [("disk", "failing")]
    severity, text = room_left(store)
    assert severity == "urgent"
    assert shown.inputs[0].error == text
    return text
