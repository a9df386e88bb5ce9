"""Engine speed and memory: `python -m tests.bench.engine`.

Readings a second on one core, as a ratio to parsing the same readings from CSV, and the size of the engine's
state over a month: both in one run on the machine at hand.
"""

import csv
import io
import json
import math
import platform
import resource
import time
from collections.abc import Iterator, Sequence

from agent.records import AnyReading, Signal, Temperature, Weather
from tests.watch.sample_day import HOUR_S, START_UNIX_S, at, engine, full_day

MONTH_DAYS = 30
PASSES = 5  # the best tells what the machine can do while nothing else runs


def month(days: int) -> Iterator[AnyReading]:
    """Signal every 10 s and temperature every minute, with a daily course, for `days` days on end."""
    for step in range(days * 8640):
        unix_s = START_UNIX_S + step * 10.0
        hour = (unix_s / HOUR_S) % 24.0
        yield Signal(unix_s=unix_s, esno_db=round(14.0 + 0.1 * math.sin(step), 1))
        if step % 6 == 0:
            warm = 35.0 + 8.0 * max(0.0, math.sin(math.pi * (hour - 6.0) / 13.0))
            yield Temperature(unix_s=unix_s, where="transmitter", temperature_degc=round(warm, 1))
            yield Weather(unix_s=unix_s, air_degc=25.0)


def speed() -> None:
    """Readings a second through `AlertEngine.update`, beside reading as many numbers from CSV."""
    dense = [
        Signal(unix_s=at(second / 60.0), esno_db=14.0 + 0.1 * (second % 3)) for second in range(12 * 3600)
    ]
    text = "".join(f"{reading.unix_s},{reading.esno_db}\n" for reading in dense)
    mixed = full_day()
    passes = [(_watching_s(dense), _reading_s(text), _watching_s(mixed)) for _ in range(PASSES)]
    engine_s, csv_s, mixed_s = (min(one) for one in zip(*passes, strict=True))
    print(f"best of {PASSES} passes over each:")
    print(f"{len(dense)} signal readings at 1 Hz: {len(dense) / engine_s:,.0f} a second")
    print(f"which takes {engine_s / csv_s:.1f} times as long as reading them from CSV")
    print(f"{len(mixed)} mixed readings, most of them decisions: {len(mixed) / mixed_s:,.0f} a second")


def _watching_s(readings: Sequence[AnyReading]) -> float:
    one = engine()
    start_s = time.perf_counter()
    for reading in readings:
        one.update(reading)
    return time.perf_counter() - start_s


def _reading_s(text: str) -> float:
    start_s = time.perf_counter()
    total = sum(float(level) for _, level in csv.reader(io.StringIO(text)))
    assert total > 0.0
    return time.perf_counter() - start_s


def memory() -> None:
    """Size of the snapshot after each ten days, and the process's peak memory."""
    one = engine()
    for count, reading in enumerate(month(MONTH_DAYS)):
        one.update(reading)
        if count % 115_200 == 115_199:
            size = len(json.dumps(one.snapshot()))
            peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
            days = (reading.unix_s - START_UNIX_S) / 86_400.0
            print(f"after {days:.0f} days: snapshot {size:,} bytes, peak {peak_mb:.0f} MB")


if __name__ == "__main__":
    print(f"Python {platform.python_version()}, {platform.machine()}")
    speed()
    memory()
