"""The work on the sessions: the engine's counts, alike in processes; no cluster there; resumed when cut."""

import io
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeVar

import distributed
import numpy as np
import pytest

from agent.errors import UsageError
from agent.replay.replaying import replay_events, session_plan
from agent.replay.scoring import Interval, score
from agent.replay.sessions import read_session
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.sets import full_ranges, random_changes, sets_around
from agent.replay.tuning.tally import Tally
from agent.replay.tuning.work import Task
from agent.replay.tuning.workers import cluster, in_turn, processes
from agent.watch.rule_set import default_rules

ResultT = TypeVar("ResultT")
RULES = sets_around(default_rules(), random_changes(full_ranges("repeak"), 20, seed=3))


def same(one: Sequence[Tally], other: Sequence[Tally]) -> bool:
    return len(one) == len(other) and all(
        np.array_equal(a.delays_s, b.delays_s, equal_nan=True)
        and np.array_equal(a.false_alarms, b.false_alarms)
        and a.span_s == b.span_s
        for a, b in zip(one, other, strict=True)
    )


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("work")


@pytest.fixture
def tallies(folders: Sequence[Path], work: Path) -> list[Tally]:
    """Done in this process."""
    return Bench(tuple(folders), in_turn, work).tallies(RULES)


def test_the_counts_are_those_of_the_engine_and_the_score(
    folders: Sequence[Path], tallies: Sequence[Tally]
) -> None:
    """Every session replayed by the engine with every fourth set, and scored as `replay` does."""
    for folder, found in zip(folders, tallies, strict=True):
        day = read_session(folder)
        plan = session_plan(day)
        for index in range(0, RULES.n_sets, 4):
            events, _ = replay_events(day, plan, RULES.only(index))
            by_rule = score(events, day.labels or (), Interval(day.start_unix_s, day.end_unix_s))
            delays_s = [delay_s for one in by_rule.values() for delay_s in one.delays_s]
            row = found.delays_s[index]
            assert row[~np.isnan(row)].tolist() == delays_s
            assert found.false_alarms[index] == sum(one.false_alarms for one in by_rule.values())
            assert len(row) == sum(one.episodes for one in by_rule.values())
        assert found.span_s == day.end_unix_s - day.start_unix_s


def test_the_sets_do_differ(tallies: Sequence[Tally]) -> None:
    """Without this the tests here would prove nothing."""
    assert len(np.unique(np.isnan(tallies[0].delays_s), axis=0)) > 1


def test_processes_give_the_same(folders: Sequence[Path], tallies: Sequence[Tally], tmp_path: Path) -> None:
    with processes(2) as workers:
        assert same(Bench(tuple(folders), workers, tmp_path).tallies(RULES), tallies)


def test_a_scheduler_that_does_not_answer_is_named() -> None:
    """Port 9 (discard) of this computer: nothing listens there."""
    with (
        pytest.raises(UsageError, match="tcp://127.0.0.1:9: no scheduler answers"),
        cluster("tcp://127.0.0.1:9", 1.0),
    ):
        pass


def test_a_scheduler_without_workers_is_named() -> None:
    with (
        distributed.LocalCluster(n_workers=0, dashboard_address=None, host="127.0.0.1") as local,
        pytest.raises(UsageError, match="has no worker"),
        cluster(local.scheduler_address, 1.0),
    ):
        pass


class Interrupted(Exception):
    """Somebody pulled the plug."""


def stops_after(
    count: int,
) -> Callable[[Callable[[Task], ResultT], Sequence[Task]], Iterator[tuple[int, ResultT]]]:
    """Works like `in_turn`, until `count` tasks are done."""

    def work(do: Callable[[Task], ResultT], tasks: Sequence[Task]) -> Iterator[tuple[int, ResultT]]:
        for index, task in enumerate(tasks):
            if index == count:
                raise Interrupted
            yield index, do(task)

    return work


def test_an_interrupted_tuning_goes_on_where_it_was(
    folders: Sequence[Path], tallies: Sequence[Tally], tmp_path: Path
) -> None:
    with pytest.raises(Interrupted):
        Bench(tuple(folders), stops_after(2), tmp_path).tallies(RULES)
    before = {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
    assert len([path for path in before if path.name.startswith("tally-")]) == 2
    assert same(Bench(tuple(folders), in_turn, tmp_path).tallies(RULES), tallies)
    after = {path: path.stat().st_mtime_ns for path in tmp_path.iterdir()}
    assert {path: after[path] for path in before} == before
    assert len([path for path in after if path.name.startswith("tally-")]) == 3


def test_a_changed_session_is_not_taken_from_the_work_folder(tmp_path: Path, folders: Sequence[Path]) -> None:
    """The same readings with nothing labelled: what was found becomes a false alarm."""
    day = tmp_path / "day"
    day.mkdir()
    for path in folders[0].iterdir():
        (day / path.name).write_bytes(path.read_bytes())
    bench = Bench((day,), in_turn, tmp_path / "work")
    (labelled,) = bench.tallies(default_rules())
    (day / "labels.csv").write_text("start,end,cause,comment\n", encoding="utf-8")
    (quiet,) = bench.tallies(default_rules())
    assert labelled.delays_s.shape == (1, 3)
    assert quiet.delays_s.shape == (1, 0)
    assert quiet.false_alarms[0] > labelled.false_alarms[0]


def test_progress_is_shown_to_a_person_only(folders: Sequence[Path], work: Path) -> None:
    shown = Terminal()
    Bench(tuple(folders), in_turn, work, shown).outcomes(default_rules())
    assert shown.getvalue().endswith("] 3 of 3 sessions, events\n")
    assert shown.getvalue().count("\r") == 4
    file = Terminal()
    file.person = False
    Bench(tuple(folders), in_turn, work, file).outcomes(default_rules())
    assert file.getvalue() == ""


class Terminal(io.StringIO):
    """A stream that may be a terminal."""

    person = True

    def isatty(self) -> bool:
        return self.person
