"""Reports, recordings and tuning over the desk's archive, as over a terminal's own store."""

import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import distributed
import numpy as np
import pandas as pd
import pytest

from agent.cli import main
from agent.config_desk import DeskDatabase
from agent.errors import UsageError
from agent.records import CSV_STEMS
from agent.replay.recording import recorded
from agent.replay.sessions import BUNDLED, read_session, write_session
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.sets import full_ranges, random_changes, sets_around
from agent.replay.tuning.tally import Tally
from agent.replay.tuning.work import Task
from agent.replay.tuning.workers import Workers, cluster, in_turn
from agent.report.stored import THINNED, stored_day
from agent.watch.rule_set import default_rules
from tests.live import ROOT
from tests.processes import PATIENCE_S, free_port, listens, wait_until
from tests.replay.tuning.days import LABELS
from tests.watch.sample_day import at

ResultT = TypeVar("ResultT")
DAY = "2026-07-18"
HOURS = ((0.0, 60.0), (60.0, 100.0), (100.0, 145.0), (145.0, 185.0))  # minutes of the sample day
RULES = sets_around(default_rules(), random_changes(full_ranges("repeak"), 10, seed=3))


def test_a_stored_day_is_the_same_from_either(own: Path, desk: DeskDatabase) -> None:
    one, other = (stored_day(place, DAY, None) for place in (own, desk))
    assert one.session.readings == other.session.readings
    assert one.events == other.events
    assert other.session.title == f"{one.session.title}{THINNED}"
    assert (one.session.job, one.session.plan) == (other.session.job, other.session.plan)


def test_hours_are_recorded_alike_from_either(own: Path, desk: DeskDatabase) -> None:
    start, end = f"{DAY}T11:00:00+02:00", f"{DAY}T12:00:00+02:00"
    one, other = (recorded(place, None, start, end).session for place in (own, desk))
    assert one == other
    assert one.readings


def test_a_day_of_the_desk_is_replayed_by_its_address(
    desk: DeskDatabase, capsys: pytest.CaptureFixture[str]
) -> None:
    words = dict(part.split("=") for part in desk.connect.split())
    address = f"postgresql://{words['user']}@{words['host']}:{words['port']}/{words['dbname']}"
    assert main(["replay", "--store", address, "--day", DAY]) == 0
    assert THINNED.strip() in capsys.readouterr().out


class Cluster:
    """A scheduler of dask and two workers, each a process of its own with one thread."""

    def __init__(self, stack: ExitStack) -> None:
        port = free_port()
        self.address = f"tcp://127.0.0.1:{port}"
        self._stack = stack
        self._run("scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard")
        wait_until(lambda: listens(port), PATIENCE_S, "the scheduler listens")
        self.workers = [
            self._run("worker", self.address, "--nthreads", "1", "--no-nanny", "--no-dashboard")
            for _ in range(2)
        ]
        with distributed.Client(self.address, timeout=PATIENCE_S) as client:
            client.wait_for_workers(len(self.workers), PATIENCE_S)

    def _run(self, role: str, *options: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", f"distributed.cli.dask_{role}", *options]
        process = subprocess.Popen(command, cwd=ROOT, stderr=subprocess.DEVNULL)
        self._stack.callback(process.wait, PATIENCE_S)
        self._stack.callback(process.kill)
        return process


def killing(workers: Workers, process: subprocess.Popen[bytes]) -> Workers:
    """The same, but one of them is killed once the first result is there."""

    def spread(work: Callable[[Task], ResultT], tasks: Sequence[Task]) -> Iterator[tuple[int, ResultT]]:
        for number, result in workers(work, tasks):
            process.kill()
            yield number, result

    return spread


def same(one: Sequence[Tally], other: Sequence[Tally]) -> bool:
    return all(
        np.array_equal(a.delays_s, b.delays_s, equal_nan=True)
        and np.array_equal(a.false_alarms, b.false_alarms)
        and a.span_s == b.span_s
        for a, b in zip(one, other, strict=True)
    )


def archived(desk: DeskDatabase, folder: Path) -> list[Path]:
    """Hours of the sample day out of the desk's store, labelled, each as a session."""
    folders = []
    for number, (first, last) in enumerate(HOURS):
        start, end = (f"{np.datetime64(round(at(minute)), 's')}Z" for minute in (first, last))
        session = recorded(desk, None, start, end).session
        labels = tuple(one for one in LABELS if at(first) <= one.start_unix_s < at(last))
        assert labels
        folders.append(folder / f"hours-{number}")
        write_session(folders[-1], replace(session, labels=labels))
    return folders


def as_parquet(session: Path, out: Path) -> Path:
    """The same session, its readings as tables of Parquet that pandas has written."""
    shutil.copytree(session, out)
    for path in [one for one in out.glob("*.csv") if one.stem in CSV_STEMS.values()]:
        table = pd.read_csv(path)
        table["time"] = pd.to_datetime(table["time"], format="ISO8601").dt.tz_convert("Europe/Madrid")
        table.to_parquet(path.with_suffix(".parquet"), index=False)
        path.unlink()
    return out


def test_tuning_over_the_archive_gives_the_same_on_a_cluster_that_loses_a_worker(
    desk: DeskDatabase, tmp_path: Path
) -> None:
    """One of the sessions comes as Parquet there."""
    folders = archived(desk, tmp_path)
    alone = Bench(tuple(folders), in_turn, tmp_path / "alone").tallies(RULES)
    folders[-1] = as_parquet(folders[-1], tmp_path / "parquet")
    with ExitStack() as stack:
        many = Cluster(stack)
        with cluster(many.address, PATIENCE_S) as workers:
            spread = killing(workers, many.workers[0])
            together = Bench(tuple(folders), spread, tmp_path / "together").tallies(RULES)
        assert many.workers[0].wait(PATIENCE_S) != 0
    assert same(alone, together)
    assert len(np.unique(alone[0].delays_s)) > 1


@pytest.mark.parametrize("day", ["salt-pan-summer"])
def test_a_session_of_parquet_is_the_session_of_csv(day: str, tmp_path: Path) -> None:
    session = BUNDLED / day
    assert read_session(as_parquet(session, tmp_path / day)) == read_session(session)


def test_a_damaged_table_is_named(tmp_path: Path) -> None:
    session = shutil.copytree(BUNDLED / "quiet-poor-sensors", tmp_path / "day")
    (session / "signal.csv").unlink()
    (session / "signal.parquet").write_bytes(b"PAR1 cut short")
    with pytest.raises(UsageError, match="signal.parquet: cannot be read as a table of Parquet"):
        read_session(session)
