"""What comes back of a damaged store. SQLite itself says what was in it before."""

import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from agent.cli import main
from agent.inputs.messages import kind_of
from agent.records import KINDS
from agent.service.pipeline import start_pipeline
from agent.store.rescue import LEFT_OUT, rescued
from agent.store.writer import StoreWriter
from agent.watch.rule_set import default_rules
from tests.live import TERMINAL, integrity, sample_plan
from tests.plan.sample_job import job
from tests.test_service import arrivals
from tests.watch.sample_day import full_day

DAY = full_day()
Rows = dict[str, set[tuple[object, ...]]]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of a day with every kind of reading, a snapshot, events and a text that fills pages."""
    path = tmp_path_factory.mktemp("whole") / "day.sqlite3"
    writer = StoreWriter.open(path, TERMINAL, DAY[0].unix_s)
    pipeline = start_pipeline(writer, job(), sample_plan(), default_rules(), 120.0)
    for first in range(0, len(DAY), 500):
        pipeline.feed(pipeline.add(arrivals(DAY[first : first + 500])), 0.0)
    pipeline.save_snapshot()
    pipeline.close()
    return path


def rows(path: Path) -> Rows:
    """Every row of every table, read by SQLite."""
    with closing(sqlite3.connect(path)) as connection:
        names = [
            name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")
        ]
        return {
            name: set(connection.execute(f'SELECT * FROM "{name}"').fetchall())
            for name in names
            if name not in LEFT_OUT and not name.startswith("sqlite_")
        }


def copied(path: Path, to: Path, data: bytes) -> Path:
    """Other bytes under another name."""
    copy = to / "damaged.sqlite3"
    copy.write_bytes(data)
    return copy


def test_all_of_a_sound_store_comes_back(whole: Path, tmp_path: Path) -> None:
    rescued(whole, tmp_path / "out.sqlite3", 0.0)
    before = rows(whole)
    assert {name for name in before if before[name]} >= {*map(kind_of, DAY), "alert_event", "plan", "minute"}
    assert rows(tmp_path / "out.sqlite3") == before


def test_what_is_only_in_the_log_comes_back(tmp_path: Path) -> None:
    """As a power cut leaves it: copies of file and log while the writer has both open."""
    path = tmp_path / "day.sqlite3"
    writer = StoreWriter.open(path, TERMINAL, DAY[0].unix_s)
    writer.add(arrivals(DAY[:200]), lambda reading, _: reading)
    copy = copied(path, tmp_path, path.read_bytes())
    copy.with_name(f"{copy.name}-wal").write_bytes(path.with_name(f"{path.name}-wal").read_bytes())
    found = rescued(copy, tmp_path / "out.sqlite3", 0.0)
    writer.close()
    assert sum(found.get(kind, 0) for kind in KINDS) == 200


@pytest.mark.parametrize("share", [0.5, 0.99])
def test_what_stands_before_a_cut_comes_back(whole: Path, tmp_path: Path, share: float) -> None:
    data = whole.read_bytes()
    rescued(copied(whole, tmp_path, data[: int(len(data) * share)]), tmp_path / "out.sqlite3", 0.0)
    back, before = rows(tmp_path / "out.sqlite3"), rows(whole)
    assert all(back[name] <= before[name] for name in back)
    got, had = (sum(map(len, one.values())) for one in (back, before))
    assert got >= 0.7 * share * had


def test_a_file_without_its_first_pages(whole: Path, tmp_path: Path) -> None:
    """The list of tables is gone, and with it what leads to the rows."""
    data = whole.read_bytes()
    rescued(copied(whole, tmp_path, bytes(65_536) + data[65_536:]), tmp_path / "out.sqlite3", 0.0)
    got, had = (sum(map(len, rows(one).values())) for one in (tmp_path / "out.sqlite3", whole))
    assert got >= had - 16 * 400


@pytest.mark.parametrize("seed", range(6))
def test_bytes_turned_anywhere_cost_their_own_rows(whole: Path, tmp_path: Path, seed: int) -> None:
    """At most the rows of the pages hit, and of texts that run over them, differ or are gone."""
    rng, data = random.Random(seed), bytearray(whole.read_bytes())
    hits = 10
    for _ in range(hits):
        data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    out = tmp_path / "out.sqlite3"
    rescued(copied(whole, tmp_path, bytes(data)), out, 0.0)
    assert integrity(out) == "ok"
    before, back = rows(whole), rows(out)
    gone = sum(len(before[name] - back[name]) for name in before)
    assert gone <= hits * 150


def test_the_command(whole: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "out.sqlite3"
    assert main(["rescue", str(whole), str(out)]) == 0
    assert "signal: " in capsys.readouterr().out
    assert main(["rescue", str(whole), str(out)]) == 2
    assert main(["rescue", str(tmp_path / "none"), str(tmp_path / "other")]) == 2
    empty = copied(whole, tmp_path, b"nothing of the kind" * 1000)
    assert main(["rescue", str(empty), str(tmp_path / "third")]) == 1
