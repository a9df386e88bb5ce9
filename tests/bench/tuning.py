"""Tuning speed: `python -m tests.bench.tuning`.

A thousand random rule sets over ten twelve-hour days (1 Hz signal, 0.1 Hz rest) in two processes, from the
CSV files to the counts of every set, in one run with replaying the same days once, on the machine at hand.
Each day's plan is in the cache beforehand: it is computed once in a session's life. Processor time is given
beside the time passed: on a machine that is busy otherwise the latter says little.
"""

import os
import platform
import resource
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

from agent.replay.replaying import replay_events, session_plan
from agent.replay.scoring import TARGETS
from agent.replay.sessions import read_session, write_session
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.sets import full_ranges, random_changes, sets_around
from agent.replay.tuning.workers import processes
from agent.watch.rule_set import default_rules
from tests.simulate.bundled import bundled_days
from tests.simulate.day import simulate_day

DAYS = 10
HOURS = 12.0
SETS = 1000
PROCESSES = 2


def write_days(top: Path) -> list[Path]:
    """Days of the bundle that have the quick sensors, made twelve hours long; plans computed."""
    folders = []
    days = {name: day for name, day in bundled_days().items() if day.scenario.sensors.signal_step_s == 1.0}
    for number in range(DAYS):
        name, day = list(days.items())[number % len(days)]
        job = day.scenario.job
        hours = replace(job.day, end_unix_s=job.day.start_unix_s + HOURS * 3600.0)
        scenario = replace(day.scenario, job=replace(job, day=hours))
        session = simulate_day(scenario, day.seed + number).session()
        folders.append(top / f"{number}-{name}")
        write_session(folders[-1], session)
        session_plan(session)
    return folders


@dataclass(frozen=True, slots=True)
class Spent:
    """Seconds passed, and seconds of processor time over all processes."""

    passed_s: float
    processor_s: float

    def __str__(self) -> str:
        return f"{self.passed_s:6.1f} s passed, {self.processor_s:6.1f} s of processor time"


def processor_s() -> float:
    """Processor time of this process and of those that it has waited for."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def replay_once(folders: list[Path]) -> Spent:
    """Read and replay every day once, one after the other."""
    start_s, before_s = time.perf_counter(), processor_s()
    for folder in folders:
        session = read_session(folder)
        replay_events(session, session_plan(session), default_rules())
    return Spent(time.perf_counter() - start_s, processor_s() - before_s)


def tune_all(folders: list[Path], work: Path, count: int) -> Spent:
    """Try `count` random sets of every rule that labels judge, over all days."""
    ranges = [one for rule in TARGETS for one in full_ranges(rule)]
    rules = sets_around(default_rules(), random_changes(ranges, count - 1, seed=1))
    start_s, before_s = time.perf_counter(), processor_s()
    with processes(PROCESSES) as workers:
        Bench(tuple(folders), workers, work).tallies(rules)
    return Spent(time.perf_counter() - start_s, processor_s() - before_s)


def main() -> None:
    """Print the table."""
    with tempfile.TemporaryDirectory() as parent:
        top = Path(parent)
        os.environ["XDG_CACHE_HOME"] = str(top / "cache")
        folders = write_days(top / "days")
        once = replay_once(folders)
        whole = tune_all(folders, top / "work", SETS)
        again = tune_all(folders, top / "work", SETS)
        other = tune_all(folders, top / "work", SETS - 1)
    print(f"{platform.machine()}, Python {platform.python_version()}, {PROCESSES} processes, {DAYS} days")
    print(f"replayed once, one process       {once}")
    print(f"{SETS} sets, from CSV to counts    {whole}  (to reach: < 60 s)")
    ratio = whole.processor_s / once.processor_s
    print(f"  against replaying once         {ratio:6.1f} times the processor time")
    print(f"other sets, features kept        {other}")
    print(f"the same sets, all results kept  {again}")


if __name__ == "__main__":
    main()
