"""Faults done to a running agent, and what they cost: readings lost or doubled, time to the next one."""

import json
import random
import sqlite3
import subprocess
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from threading import Timer

from agent.clock import computer_clock
from agent.inputs.messages import status_topic
from agent.records import Signal
from agent.store.opening import LOG_SUFFIX, StoreError, open_for_reading
from agent.store.pages import FRAME_HEADER_BYTES, LOG_HEADER_BYTES
from agent.store.reader import readings_after
from agent.store.rescue import rescued
from agent.store.writer import StoreWriter
from tests.live import TERMINAL, AgentProcess, Device, embedded_at, integrity, retained
from tests.processes import LOADED, PATIENCE_S, Mosquitto, free_port, wait_until
from tests.test_store import arrival, keep

BURST = 20
YEAR_S = 365.25 * 86_400.0


@dataclass(frozen=True, slots=True)
class Outcome:
    """One kind of fault, done so many times; `slowest_s` from its end to the next reading on the disk."""

    fault: str
    times: int
    lost: int
    doubled: int
    slowest_s: float

    def row(self) -> str:
        """As a row of a table."""
        return f"| {self.fault} | {self.times} | {self.lost} | {self.doubled} | {self.slowest_s:.1f} s |"


class Field:
    """An agent, and a device that publishes numbered readings."""

    def __init__(self, folder: Path, broker: Mosquitto | None = None) -> None:
        self.folder = folder
        self.store = folder / "day.sqlite3"
        self.wrong = folder.with_name(f"{folder.name}.wrong")
        self.wrong.write_text("0")
        self.broker = broker
        settings = embedded_at(free_port()) if broker is None else broker.settings
        self.agent = AgentProcess(self.store, settings, computer_clock(), wrong=self.wrong)
        self.agent.start()
        self.device = Device(settings.port)
        self.sent = 0

    def publish(self, count: int) -> None:
        """So many readings more."""
        for _ in range(count):
            self.device.publish(Signal(unix_s=time.time(), esno_db=14.0, extra={"number": self.sent}))
            self.sent += 1

    def again(self) -> float:
        """Seconds until a new reading is on the disk."""
        started_s = time.monotonic()
        number = self.sent
        self.publish(1)
        wait_until(lambda: stands_in(self.store, number), PATIENCE_S, "a new reading is on the disk")
        took_s = time.monotonic() - started_s
        self.wait_for_answers()
        return took_s

    def wait_for_answers(self) -> None:
        """Until the device may forget what it has sent."""
        wait_until(lambda: self.device.unanswered() == 0, PATIENCE_S, "every reading is acknowledged")

    def wait_for_status(self, words: str) -> None:
        """Until the retained status says so."""
        topic = status_topic(TERMINAL)

        def says() -> bool:
            return words in str(retained(self.agent.port, topic))

        wait_until(says, PATIENCE_S, f"the status says {words!r}")

    def numbers(self) -> Counter[int]:
        """How often each number is stored in one file: the store, or what comes of one that was set aside.

        Of a disk that was mounted anew the store's double may be set aside.
        """
        found = numbers_in(self.store)
        for index, path in enumerate(sorted(self.folder.glob("day.sqlite3.damaged-*Z*"))):
            if not path.name.endswith(("-wal", "-shm")):
                out = self.folder / f"out-{index}.sqlite3"
                rescued(path, out, 0.0)
                found |= numbers_in(out)
        return found

    def outcome(self, fault: str, times: int, slowest_s: float) -> Outcome:
        """End, and count."""
        code = self.agent.stop()
        assert code == 0, f"{fault}: the agent ended with {code}"
        self.device.close()
        found = self.numbers()
        assert integrity(self.store) == "ok"
        lost = sum(number not in found for number in range(self.sent))
        return Outcome(fault, times, lost, sum(count > 1 for count in found.values()), slowest_s)


def numbers_in(store: Path) -> Counter[int]:
    """How often each number stands in a store."""
    with closing(open_for_reading(store)) as connection:
        rows = connection.execute("SELECT extra FROM signal WHERE extra IS NOT NULL")
        return Counter(json.loads(extra)["number"] for (extra,) in rows)


def stands_in(store: Path, number: int) -> bool:
    """Whether the reading of this number is in the store, which may just be replaced."""
    try:
        with closing(open_for_reading(store)) as connection:
            found = connection.execute(
                "SELECT 1 FROM signal WHERE extra = ?", (json.dumps({"number": number}),)
            )
            return found.fetchone() is not None
    except (StoreError, sqlite3.Error):
        return False


def done_to(field: Field, fault: str, times: int, disturb: Callable[[Field, random.Random], None]) -> Outcome:
    """Disturb so many times, at random moments of the work."""
    rng = random.Random(times)
    slowest_s = 0.0
    for _ in range(times):
        field.publish(rng.randrange(1, BURST))
        time.sleep(rng.random() * 0.2)
        disturb(field, rng)
        slowest_s = max(slowest_s, field.again())
    return field.outcome(fault, times, slowest_s)


def kill(field: Field, _: random.Random) -> None:
    """SIGKILL, and a new start."""
    field.agent.kill()
    field.agent.start()


def kill_broker(field: Field, _: random.Random) -> None:
    """SIGKILL to Mosquitto, and a new start.

    It answers first and writes at the end of its turn: what its last one held, here a reading that nobody
    counts, may go with it.
    """
    assert field.broker is not None
    field.wait_for_answers()
    field.device.publish(Signal(unix_s=time.time(), esno_db=14.0))
    field.wait_for_answers()
    field.broker.kill()
    field.broker.start()


def damage(field: Field, rng: random.Random) -> None:
    """Bytes turned anywhere in the file, between two runs."""
    field.again()
    field.agent.stop()
    data = bytearray(field.store.read_bytes())
    for _ in range(30):
        # Rows of readings keep out of the way: what is turned in them is lost whatever is done.
        data[rng.randrange(min(len(data), 8192))] ^= 1 << rng.randrange(8)
    field.store.write_bytes(data)
    field.agent.start()


def set_clock(field: Field, rng: random.Random) -> None:
    """Somebody sets the computer's clock."""
    span_s = 10.0 ** rng.uniform(0.0, 8.5)
    field.wrong.write_text(str(rng.choice((-1.0, 1.0)) * min(span_s, 10.0 * YEAR_S)))


def fill_disk(field: Field, _: random.Random) -> None:
    """The disk is full for a while."""
    filler = field.folder / "filler"
    with filler.open("wb", buffering=0) as file, suppress(OSError):
        while True:
            file.write(b"x" * 4096)
    field.publish(BURST)
    time.sleep(0.5)
    filler.unlink()


def write_protect(field: Field, _: random.Random) -> None:
    """The computer starts with a disk that may not be written, which is mended a moment later."""
    field.agent.kill()
    command = ["mount", "-o", "remount,ro", field.folder]
    subprocess.run(command, check=True)
    mend = Timer(1.0, subprocess.run, [["mount", "-o", "remount,rw", field.folder]], {"check": True})
    mend.start()
    try:
        field.agent.start()
    finally:
        mend.join()


def refuse_writes(field: Field, _: random.Random) -> None:
    """No file may grow for a while, as by a quota: SQLite calls it an error of input and output."""
    limit = ("prlimit", "--pid", str(field.agent.pid))
    _run(*limit, "--fsize=0:unlimited")
    field.publish(BURST)
    field.wait_for_status("on a disk that takes nothing")
    _run(*limit, "--fsize=unlimited")


class FailingDisk:
    """A file system of 16 MB in a file, which turns read-only by an error, as that of a memory card does."""

    def __init__(self, folder: Path) -> None:
        """Raises CalledProcessError or OSError where such a thing cannot be mounted."""
        self.folder = folder
        self._image = folder.with_suffix(".image")
        folder.mkdir()
        with self._image.open("wb") as file:
            file.truncate(16 * 2**20)
        _run("mke2fs", "-q", "-t", "ext4", str(self._image))
        self._mount()

    def _mount(self) -> None:
        self._device = _run("losetup", "--find", "--show", str(self._image)).strip()
        try:
            _run("mount", "-o", "errors=remount-ro", self._device, str(self.folder))
        finally:
            # It goes once nobody has a file on it open.
            _run("losetup", "--detach", self._device)

    def fail(self) -> None:
        """The kernel meets an error on it."""
        Path(f"/sys/fs/ext4/{Path(self._device).name}/trigger_fs_error").write_text("made to fail")

    def end(self) -> None:
        """Take it away, whoever has files on it open."""
        _run("umount", "--lazy", str(self.folder))

    def mend(self) -> None:
        """Check it and mount it again, as somebody at the computer would."""
        self.end()
        # Exit code 1: errors were corrected.
        subprocess.run(["e2fsck", "-fy", self._image], capture_output=True, check=False)
        self._mount()


def _run(*words: str) -> str:
    return subprocess.run(words, capture_output=True, check=True, text=True).stdout


@contextmanager
def failing_disk(folder: Path) -> Iterator[FailingDisk | None]:
    """None where it cannot be mounted."""
    try:
        disk = FailingDisk(folder)
    except (subprocess.CalledProcessError, OSError):
        yield None
        return
    try:
        yield disk
    finally:
        disk.end()


def stop_disk(disk: FailingDisk, field: Field, _: random.Random) -> None:
    """The disk turns read-only under the agent, and is mended."""
    disk.fail()
    field.publish(BURST)
    field.wait_for_status("on a disk that takes nothing")
    disk.mend()


@contextmanager
def small_disk(folder: Path) -> Iterator[Path | None]:
    """A file system of eight megabytes; None where it cannot be mounted."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=8m", "none", folder]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        yield None
        return
    try:
        yield folder
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)


def torn_writes(folder: Path) -> Outcome:
    """A power cut in the middle of the last transaction: its log cut at every page, and within every page."""
    path = folder / "torn.sqlite3"
    writer = StoreWriter.open(path, TERMINAL, 0.0)
    log = Path(f"{path}{LOG_SUFFIX}")
    days = [Signal(unix_s=1.8e9 + second, esno_db=9.0, extra={"number": second}) for second in range(400)]
    writer.add([arrival(one) for one in days[:200]], keep)
    before = log.stat().st_size
    writer.add([arrival(one) for one in days[200:]], keep)
    file, logged = path.read_bytes(), log.read_bytes()
    step = FRAME_HEADER_BYTES + writer.connection.execute("PRAGMA page_size").fetchone()[0]
    writer.close()
    times = lost = doubled = 0
    slowest_s = 0.0
    for end in range(max(before, LOG_HEADER_BYTES), len(logged), step // 2):
        copy = folder / f"cut-{times}.sqlite3"
        copy.write_bytes(file)
        Path(f"{copy}{LOG_SUFFIX}").write_bytes(logged[:end])
        started_s = time.monotonic()
        with closing(StoreWriter.open(copy, TERMINAL, 0.0)) as opened:
            found = [one.reading for one in readings_after(opened.connection, TERMINAL, 0)]
            slowest_s = max(slowest_s, time.monotonic() - started_s)
        times += 1
        # All of the last transaction or nothing of it, and everything before.
        lost += len(set(range(200)) - {int(str(one.extra["number"])) for one in found})
        doubled += len(found) not in (200, 400)
    return Outcome("power cut within a transaction", times, lost, doubled, slowest_s)


def all_of(folder: Path, times: int) -> Iterator[Outcome]:
    """Every fault so many times; the kills half with the agent's own broker, half with Mosquitto."""
    for name in ("own", "mosquitto", "broker", "damaged", "clock", "torn", "refused"):
        (folder / name).mkdir()
    yield done_to(Field(folder / "own"), "kill -9, own broker", times, kill)
    broker = Mosquitto(folder / "mosquitto", in_flight=200)
    broker.start()
    try:
        yield done_to(Field(folder / "mosquitto", broker), "kill -9, Mosquitto", times, kill)
        broker_folder = folder / "broker"
        yield done_to(
            Field(broker_folder, broker), "kill -9 of Mosquitto itself", min(times, 20), kill_broker
        )
    finally:
        broker.stop()
    yield torn_writes(folder / "torn")
    yield done_to(Field(folder / "damaged"), "bytes turned in the file's head", min(times, 8), damage)
    yield done_to(Field(folder / "clock"), "clock set by 1 s to 10 years", times, set_clock)
    # Each waits for the next of the agent's tries, which come every five seconds.
    few = min(max(times // 3, 1), 10)
    yield done_to(Field(folder / "refused"), "no write taken for a while", few, refuse_writes)
    with failing_disk(folder / "failing") as failing:
        if failing is not None:
            fault = "disk read-only under the agent"
            yield done_to(Field(failing.folder), fault, few, partial(stop_disk, failing))
    with small_disk(folder / "disk") as disk:
        if disk is not None:
            yield done_to(Field(disk), "disk full", min(times, 10), fill_disk)
    with small_disk(folder / "protected") as disk:
        if disk is not None:
            yield done_to(Field(disk), "disk read-only at the start", min(times, 5), write_protect)


def failed(outcome: Outcome) -> bool:
    """Whether something was lost or doubled, or took much longer than ten seconds."""
    return bool(outcome.lost or outcome.doubled or outcome.slowest_s > 10.0 * LOADED)
