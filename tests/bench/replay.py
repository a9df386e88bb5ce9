"""Replay speed: `python -m tests.bench.replay`.

A twelve-hour day, 1 Hz signal and 0.1 Hz rest: seconds to read and replay it, as a ratio to reading its CSV
files as rows of text, all in one run on the machine at hand.
"""

import csv
import platform
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from agent.planning.compute import compute_plan
from agent.replay.replaying import replay_events
from agent.replay.sessions import Session, read_session, write_session
from agent.watch.rule_set import default_rules
from tests.simulate.bundled import bundled_days
from tests.simulate.day import simulate_day

HOURS = 12.0
REPEATS = 5


def long_day() -> Session:
    """The day on the dry lake, made twelve hours long."""
    day = bundled_days()["dry-lake-never-shaded"]
    job = day.scenario.job
    hours = replace(job.day, end_unix_s=job.day.start_unix_s + HOURS * 3600.0)
    return simulate_day(replace(day.scenario, job=replace(job, day=hours)), day.seed).session()


def fastest_s(work: Callable[[], object]) -> float:
    """The shortest of several runs, seconds of processor time: what else runs here counts less."""
    times = []
    for _ in range(REPEATS):
        start_s = time.process_time()
        work()
        times.append(time.process_time() - start_s)
    return min(times)


def read_rows(folder: Path) -> int:
    """The number of rows in all CSV files, read as text alone."""
    total = 0
    for path in folder.glob("*.csv"):
        with path.open(newline="", encoding="utf-8") as lines:
            total += len(list(csv.reader(lines)))
    return total


def main() -> None:
    """Print the table."""
    day = long_day()
    plan = compute_plan(day.job)
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent) / "day"
        write_session(folder, day)
        text_s = fastest_s(lambda: read_rows(folder))
        read_s = fastest_s(lambda: read_session(folder))
        session = read_session(folder)
        replay_s = fastest_s(lambda: replay_events(session, plan, default_rules()))
    print(f"{platform.machine()}, Python {platform.python_version()}, {len(session.readings)} readings")
    print(f"CSV as text    {text_s:.3f} s")
    print(f"session read   {read_s:.3f} s  ({read_s / text_s:.1f} times the text)")
    print(f"engine         {replay_s:.3f} s  ({len(session.readings) / replay_s:,.0f} readings/s)")
    print(f"read + engine  {read_s + replay_s:.3f} s  (to reach: < 1 s)")


if __name__ == "__main__":
    main()
