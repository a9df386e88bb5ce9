"""The engine's whole answer: short verdicts beside long actions, and figures under the modem's own names."""

import math
import re
from collections.abc import Iterable

import pytest

from agent.records import AnyReading, Note, Signal, Situation, Temperature, Throughput
from agent.watch.decision_grid import DecisionGrid
from agent.watch.rules import RULES
from agent.watch.words import text
from tests.plan.sample_job import job
from tests.watch.sample_day import FULL_DAY_PASS, at, engine, every, full_day, in_order, plan

# Two lines of large type on a phone (390 CSS px): what the crew takes in at a glance.
AT_A_GLANCE_CHARACTERS = 40


def after(readings: Iterable[AnyReading]) -> Situation:
    """What is known after the readings."""
    one = engine()
    for reading in in_order(readings):
        one.update(reading)
    return one.situation()


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_has_a_short_headline(rule: str) -> None:
    grid, known_plan = DecisionGrid(), plan((FULL_DAY_PASS,))
    grid.add(Signal(unix_s=at(0.0), esno_db=14.0))
    for view in grid.advance(at(1.0), known_plan, job()):
        assert 0 < len(text(RULES[rule].headline(view))) <= AT_A_GLANCE_CHARACTERS


def test_the_verdict_says_what_is_the_matter_and_the_action_what_to_do() -> None:
    one = engine(plan((FULL_DAY_PASS,)))
    verdicts: dict[str, set[str]] = {}
    for reading in full_day():
        if one.update(reading):
            now = one.situation()
            if now.alerts:
                assert now.verdict != now.action
                assert all(len(one) <= AT_A_GLANCE_CHARACTERS for one in re.split("[.;] ", now.verdict))
                verdicts.setdefault(now.alerts[0].event.rule, set()).add(now.verdict)
    assert {one.split(".")[0] for one in verdicts["repeak"]} == {"The dish points off"}
    assert {one.split(".")[0] for one in verdicts["wait-sun-pass"]} <= {"Sun pass soon", "Sun pass now"}


def heating(where: str, top_degc: float) -> list[AnyReading]:
    """A unit that warms by twenty degrees within half an hour and stays there."""
    return [
        Temperature(
            unix_s=at(m), where=where, temperature_degc=min(top_degc, top_degc - 20.0 + m * 2.0 / 3.0)
        )
        for m in every(30.0, 0.0, 45.0)
    ]


def test_heat_names_the_unit() -> None:
    over = after(heating("transmitter", job().transmitter.limit_degc + 3.0))
    assert over.verdict == "Transmitter is over its limit"
    modem = after([Note(unix_s=at(-1.0), kind="shade-on"), *heating("modem", job().modem.limit_degc + 3.0)])
    assert modem.verdict == "Modem is over its limit"


@pytest.mark.parametrize(
    ("field", "name", "reference"),
    [
        ("esno_db", "esno_db", "reference_db"),
        ("cn_db", "cn_db", "reference_db"),
        ("quality_percent", "quality_percent", "reference_quality_percent"),
    ],
)
def test_the_level_is_told_as_the_modem_tells_it(field: str, name: str, reference: str) -> None:
    """What it does not measure is left unsaid: C/N is no Es/N0, and a coarse quality is no ratio in dB."""
    value = 60.0 if field == "quality_percent" else 13.5
    figures = after(Signal(unix_s=at(m), **{field: value}) for m in every(5.0, 0.0, 40.0)).figures
    assert figures[name] == pytest.approx(value) and figures[reference] == pytest.approx(value)
    others = {"esno_db", "cn_db", "quality_percent", "reference_db", "reference_quality_percent"}
    assert not (others - {name, reference}) & figures.keys()


def test_without_lock_there_is_no_level() -> None:
    readings = [Signal(unix_s=at(m), esno_db=13.5) for m in every(5.0, 0.0, 40.0)]
    lost = [Signal(unix_s=at(m), locked=False, esno_db=13.5) for m in every(5.0, 40.0, 45.0)]
    figures = after([*readings, *lost]).figures
    assert "esno_db" not in figures
    assert all(math.isfinite(value) for value in figures.values())


@pytest.mark.parametrize("why", ["no lock", "a test that got nothing through"])
def test_where_nothing_gets_through_no_rate_stands_for_now(why: str) -> None:
    """Regression: "stream 1.5 of 4.0 Mbit/s" below "The link is down: no lock"."""
    locked = [Signal(unix_s=at(m), esno_db=13.5) for m in every(5.0, 0.0, 40.0)]
    tests = [
        Throughput(unix_s=at(m), method="active", down_mbps=8.0, up_mbps=4.0, loss_percent=0.0)
        for m in every(300.0, 0.0, 40.0)
    ]
    rates = {"down_mbps", "up_mbps", "headroom_mbps"}
    assert rates <= after([*locked, *tests]).figures.keys()
    lost = [Signal(unix_s=at(m), locked=False) for m in every(5.0, 40.0, 42.0)]
    failed = Throughput(unix_s=at(40.0), method="active", down_mbps=0.0, up_mbps=0.0, loss_percent=100.0)
    held = [Signal(unix_s=at(m), esno_db=13.5) for m in every(5.0, 40.0, 42.0)]
    more = lost if why == "no lock" else [failed, *held]
    figures = after([*locked, *tests, *more]).figures
    assert not rates & figures.keys()
    # The last that gave a rate.
    assert figures["rate_tested_unix_s"] == at(35.0)


def test_a_minute_that_was_partly_without_lock_has_no_level() -> None:
    """The mean of a level and of none is no level."""
    watching = engine()
    shown_db = None
    for second in range(0, 300, 5):
        lost = 100 <= second < 160
        unix_s = at(600.0) + second
        watching.update(Signal(unix_s=unix_s, esno_db=None if lost else 14.0, locked=not lost))
        watching.advance(unix_s)
        shown_db = watching.situation().figures.get("esno_db")
        assert shown_db is None or shown_db == pytest.approx(14.0)
    assert shown_db == pytest.approx(14.0)
