"""Benchmarks still measure: each in a short form, whose figures say nothing about speed."""

import re
import sys
from types import ModuleType

import pytest

from tests.bench import detection, engine, floods, pages, replay, tuning

SHORT: dict[ModuleType, dict[str, object]] = {
    detection: {"DAYS": 1},
    floods: {"FLOODS": ("nothing",), "SECONDS": 1.0},
    pages: {"DAYS": 1, "SPANS_H": (2.0, 12.0), "VIEWERS": 2, "REPEATS": 1},
    replay: {"HOURS": 0.5, "REPEATS": 1},
    tuning: {"DAYS": 1, "HOURS": 6.0, "SETS": 4},
}
# The last line but the figures of each, by which one that stops half-way is noticed.
LAST = {
    detection: "cause right",
    floods: "end after SIGTERM",
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


def test_the_engines_bench_measures(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(engine, "MONTH_DAYS", 1)
    monkeypatch.setattr(engine, "PASSES", 1)
    engine.speed()
    assert re.search(r"\d", capsys.readouterr().out)
