"""What the live agent costs: `python -m tests.bench.live [MINUTES]`, at five readings a second, twice.

First others publish and the agent only listens; then every kind of input that it knows is at work, and what
they read is in `counterparts`, on this computer. The broker is the agent's own. Ends with 1 where a figure is
missed.
"""

import os
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from pathlib import Path
from statistics import linear_regression

import psutil

from agent.records import Signal, Temperature
from tests.bench.counterparts import ENVIRONMENT, every_input, wait_for_agent
from tests.job_text import JOB_TOML
from tests.live import ROOT, Device, stored_readings
from tests.processes import PATIENCE_S, free_port, listens, wait_until

MINUTES = 5.0
SETTLE_S = 60.0
LOOK_EVERY_S = 1.0
MOST_MEMORY_MB = {"others publish": 66.0, "every input": 90.0}
PER_SECOND = 5.0
MOST_PROCESSOR_PERCENT = 3.0
LEAST_READINGS_S = 4.75  # five, less what a busy computer delays


@dataclass(frozen=True, slots=True)
class Course:
    """The agent's resident memory over time, and what its work took."""

    at_s: Sequence[float]
    resident_mb: Sequence[float]
    processor_s: float

    @property
    def growth_mb_h(self) -> float:
        """By the last half: what fills at the start is no growth."""
        half = len(self.at_s) // 2
        return linear_regression(self.at_s[half:], self.resident_mb[half:]).slope * 3600.0


@contextmanager
def others_publish(_: Path, broker_port: int) -> Iterator[tuple[str, list[str]]]:
    """No input of the agent's own: a device publishes as soon as the broker listens."""
    ended = threading.Event()

    def publish() -> None:
        while not ended.wait(LOOK_EVERY_S) and not listens(broker_port):
            pass
        device = Device(broker_port)
        while not ended.wait(1.0 / PER_SECOND):
            number, now_unix_s = device.sent, time.time()
            if number % 5:
                device.publish(Signal(unix_s=now_unix_s, esno_db=14.0 + number % 9 / 10.0, locked=True))
            else:
                device.publish(Temperature(unix_s=now_unix_s, where="transmitter", temperature_degc=41.5))
        device.close()

    thread = threading.Thread(target=publish)
    thread.start()
    try:
        yield "", []
    finally:
        ended.set()
        thread.join()


WAYS: Mapping[str, Callable[[Path, int], AbstractContextManager[tuple[str, list[str]]]]] = {
    "others publish": others_publish,
    "every input": every_input,
}


def measure(way: str, folder: Path, minutes: float) -> bool:
    """Run the agent, print what it takes, and tell whether that is within the figures."""
    broker_port = free_port()
    with WAYS[way](folder, broker_port) as (tables, left_out):
        config, store = folder / "config.toml", folder / "store.sqlite3"
        own = f'[broker]\nport = {broker_port}\n[store]\npath = "{store}"\n'
        config.write_text(f"{JOB_TOML}\n{own}\n{tables}")
        words = [sys.executable, "-m", "agent", "run", str(config), "--no-dashboard"]
        process = subprocess.Popen(words, cwd=ROOT, env={**os.environ, **ENVIRONMENT})
        try:
            wait_for_agent(broker_port)
            time.sleep(SETTLE_S)
            before = len(stored_readings(store))
            course = watch(psutil.Process(process.pid), minutes * 60.0)
            wait_until(lambda: len(stored_readings(store)) > before, PATIENCE_S, "a reading is stored")
            readings = stored_readings(store)
        finally:
            process.terminate()
            process.wait()
    kinds = ", ".join(sorted({type(one).__name__.lower() for one in readings}))
    print(way)
    print(f"inputs left out     {'; '.join(left_out) or 'none'}")
    print(f"kinds of readings   {kinds}")
    return told(course, (len(readings) - before) / course.at_s[-1], MOST_MEMORY_MB[way])


def watch(process: psutil.Process, seconds: float) -> Course:
    """Look for so long."""
    start_s, before = time.monotonic(), process.cpu_times()
    at_s: list[float] = []
    resident_mb: list[float] = []
    while time.monotonic() - start_s < seconds:
        time.sleep(LOOK_EVERY_S)
        at_s.append(time.monotonic() - start_s)
        resident_mb.append(process.memory_info().rss / 1e6)
    after = process.cpu_times()
    return Course(at_s, resident_mb, after.user + after.system - before.user - before.system)


def told(course: Course, readings_s: float, most_mb: float) -> bool:
    """Print the figures."""
    percent = 100.0 * course.processor_s / course.at_s[-1]
    reached = {
        "memory": max(course.resident_mb) <= most_mb,
        "processor": percent < MOST_PROCESSOR_PERCENT,
        "readings": readings_s >= LEAST_READINGS_S,
    }
    print(f"minutes             {course.at_s[-1] / 60.0:8.1f}")
    print(f"readings stored     {readings_s:8.2f} a second   (at least {LEAST_READINGS_S:g})")
    print(f"resident, at first  {course.resident_mb[0]:8.1f} MB")
    print(f"resident, at end    {course.resident_mb[-1]:8.1f} MB")
    print(f"resident, most      {max(course.resident_mb):8.1f} MB   (at most {most_mb:g})")
    print(f"resident, growth    {course.growth_mb_h:8.2f} MB an hour, over the last half")
    print(f"processor           {percent:8.2f} % of a core   (below {MOST_PROCESSOR_PERCENT:g})")
    missed = [name for name, fine in reached.items() if not fine]
    print(f"figures             {f'missed: {missed}' if missed else 'reached'}", flush=True)
    return not missed


if __name__ == "__main__":
    reached = []
    for name in WAYS:
        with tempfile.TemporaryDirectory() as made:
            reached.append(measure(name, Path(made), float(sys.argv[1]) if len(sys.argv) > 1 else MINUTES))
    sys.exit(0 if all(reached) else 1)
