"""Benchmarks still measure: each in a short form, whose figures say nothing about speed."""

import os
import re
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from tests.bench import detection, engine, floods, ingest, live, month, pages, replay, tuning
from tests.conftest import LayPlan
from tests.live import ROOT

SHORT: dict[ModuleType, dict[str, object]] = {
    detection: {"DAYS": 1},
    floods: {"FLOODS": ("nothing",), "SECONDS": 1.0},
    ingest: {
        "MESSAGES": 2000,
        "IN_FLIGHT": (200,),
        "TURNS": 1,
        "LOOK_EVERY_S": 0.005,
        "COMMITS": 5,
        "WARM_S": 0.4,
        "STEADY_S": 1.0,
        "ACKNOWLEDGEMENTS": 3,
        "LATENCY_SPEED": 120.0,
    },
    month: {"LENGTH_S": 1100, "COPIES": 2},
    pages: {"DAYS": 1, "SPANS_H": (2.0, 12.0), "VIEWERS": 2, "REPEATS": 1},
    replay: {"HOURS": 0.5, "REPEATS": 1},
    tuning: {"DAYS": 1, "HOURS": 6.0, "SETS": 4},
}
# What the live agent's bench measures, by the beginning of its lines.
MEASURED = ("minutes", "readings stored", "resident, at first", "resident, most")
# The last line but the figures of each, by which one that stops half-way is noticed.
LAST = {
    detection: "cause right",
    floods: "end after SIGTERM",
    ingest: "publish to stored alert",
    month: "start",
    pages: "/day",
    replay: "read + engine",
    tuning: "the same sets, all results kept",
}


@pytest.mark.browser
@pytest.mark.mosquitto
@pytest.mark.parametrize("bench", SHORT, ids=lambda bench: bench.__name__.rpartition(".")[2])
def test_the_bench_measures(
    bench: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, value in SHORT[bench].items():
        assert hasattr(bench, name)
        monkeypatch.setattr(bench, name, value)
    monkeypatch.setattr(sys, "argv", [bench.__name__])
    bench.main()
    lines = capsys.readouterr().out.splitlines()
    last = next(line for line in reversed(lines) if LAST[bench] in line)
    assert re.search(r"\d", last)


@pytest.mark.parametrize("way", live.WAYS)
def test_the_live_bench_measures(
    way: str,
    tmp_path: Path,
    lay_plan: LayPlan,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Others publish, or every kind of input is at work whose program is installed: readings come."""
    monkeypatch.setattr(live, "SETTLE_S", 0.0)
    lay_plan(tmp_path / "config.toml")
    live.measure(way, tmp_path, 0.05)
    said = capsys.readouterr().out
    found = {name: re.search(rf"^{name} +([0-9.]+)", said, re.MULTILINE) for name in MEASURED}
    assert all(one is not None and float(one[1]) > 0.0 for one in found.values()), said


@pytest.mark.skipif(not hasattr(os, "fork"), reason="tries each fault in a fork")
def test_the_mutations_bench_measures() -> None:
    short = "from tests.bench import mutations as m; m.SAMPLE, m.TESTS = 1, ('test_told.py',); m.main()"
    ran = subprocess.run([sys.executable, "-c", short], cwd=ROOT, capture_output=True, text=True, check=True)
    assert re.search(r"caught [01] of 1 tried", ran.stdout)


def test_the_engines_bench_measures(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(engine, "MONTH_DAYS", 1)
    monkeypatch.setattr(engine, "PASSES", 1)
    engine.speed()
    assert re.search(r"\d", capsys.readouterr().out)
