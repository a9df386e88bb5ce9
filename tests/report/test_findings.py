"""What to change next time: each sentence where its day gives the reason, with the numbers of that day."""

from dataclasses import replace

import pytest

from agent.report.cautions import cautions
from agent.report.findings import findings
from agent.report.review import Review
from tests.report.days import bundled_review


def sentence(review: Review, start: str) -> str | None:
    """The finding that begins so."""
    return next((one for one in findings(review) if one.startswith(start)), None)


def test_nobody_shaded_the_transmitter() -> None:
    """The story of the day: forty degrees and no shade; ten hours of job, all of them sunny."""
    day = bundled_review("dry-lake-never-shaded")
    first = findings(day)[0]
    assert first.startswith("Shade the transmitter from the start")
    assert "°C over its limit" in first
    assert f"{day.balance.transmitter.peak_degc:.1f} °C" in first


def test_a_cool_transmitter_needs_no_shade() -> None:
    day = bundled_review("estuary-rain")
    assert day.balance.transmitter.margin_k > 10.0
    assert sentence(day, "Shade") is None
    bare = replace(day.balance.hours[0], unshaded_min=180.0)
    assert sentence(replace(day, balance=replace(day.balance, hours=(bare,))), "Shade") is None


def test_without_a_thermometer_the_hours_in_the_sun_decide() -> None:
    day = bundled_review("estuary-rain")
    nothing = replace(day.balance.transmitter, peak_degc=float("nan"), peak_unix_s=float("nan"))
    bare = replace(day.balance.hours[0], unshaded_min=180.0)
    found = sentence(replace(day, balance=replace(day.balance, hours=(bare,), transmitter=nothing)), "Shade")
    assert found is not None
    assert "3 h 00 min" in found
    assert "nan" not in found


def test_the_stream_did_not_fit() -> None:
    """The story of the day: a third of the rate is left, so 4 Mbit/s carry 1.2 times a stream of 1.1."""
    found = sentence(bundled_review("full-network"), "Stream at")
    assert found is not None
    assert "instead of 1.5 Mbit/s" in found


@pytest.mark.parametrize("name", ["quiet-dune", "dry-lake-never-shaded", "salt-pan-summer"])
def test_the_stream_fitted(name: str) -> None:
    assert sentence(bundled_review(name), "Stream at") is None


@pytest.mark.parametrize(
    ("over_db", "expected"), [(-2.0, "Find what"), (2.0, "Correct the plan"), (0.0, None)]
)
def test_a_signal_off_the_plan(over_db: float, expected: str | None) -> None:
    day = bundled_review("estuary-rain")
    off = replace(day.down, plan_db=day.down.median_db - over_db)
    fair = replace(day.up, plan_db=day.up.median_db)
    found = [one for one in findings(replace(day, down=off, up=fair)) if "link" in one and "median" in one]
    assert [one.startswith(expected) for one in found] == [True] if expected else found == []


def test_tests_that_eat_the_link() -> None:
    day = bundled_review("salt-pan-summer")
    assert sentence(day, "Test less") is None
    found = sentence(replace(day, rates=replace(day.rates, share_percent=12.0)), "Test less")
    assert found is not None
    assert "12.0 %" in found


def test_a_day_without_tests_says_so_and_asks_for_them() -> None:
    day = bundled_review("salt-pan-summer")
    bare = replace(day, rates=replace(day.rates, tests=0))
    assert any("No throughput test" in one for one in cautions(bare))
