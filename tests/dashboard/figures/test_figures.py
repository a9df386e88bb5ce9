"""Trends of the crew's page: they hold what they were given, and show gaps as gaps."""

import re
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from dashboard.figures.trends import (
    MINUTE_GAP_S,
    TRENDS,
    Trend,
    trend_picture,
    trends_of,
    where_it_bends,
    with_gaps,
)
from dashboard.queries import History
from tests.dashboard.scenes import NOW_UNIX_S
from tests.plan.sample_job import job
from tests.watch.sample_day import at, in_order
from tests.watch.situations import level, night, peaking, rate_tests

MADRID = ZoneInfo("Europe/Madrid")
SPAN = (NOW_UNIX_S - 7200.0, NOW_UNIX_S)
SIGNAL_TREND = TRENDS[0]
SUN_TREND = TRENDS[3]


def history(**figures: list[float]) -> History:
    """Minutes up to now."""
    count = len(next(iter(figures.values()), []))
    unix_s = NOW_UNIX_S - 60.0 * np.arange(count)[::-1]
    return History(unix_s=unix_s, figures={key: np.array(values) for key, values in figures.items()})


def strokes(picture: str) -> dict[str, str]:
    """The path of each line by its style."""
    return {style: points for points, style in re.findall(r'<path d="([^"]+)"[^>]*var\(--(\w+)\)', picture)}


def drawn(trend: Trend, known: History) -> str:
    """The picture over the two hours."""
    return trend_picture(trend, known, SPAN, MADRID)


def test_trend_draws_only_what_is_known_over_the_whole_span() -> None:
    picture = drawn(SIGNAL_TREND, history(esno_db=[11.0, 10.5]))
    assert set(strokes(picture)) == {"measured"}
    # Madrid is UTC+2 in July: two hours up to 13:36, with a tick each half hour.
    assert re.findall(r">(\d\d:\d\d)<", picture) == ["12:00", "12:30", "13:00", "13:30"]


def test_a_trend_of_nothing_is_no_picture() -> None:
    assert drawn(SIGNAL_TREND, history()) == ""


def test_trend_in_hours_divides_seconds() -> None:
    picture = drawn(SUN_TREND, history(transmitter_exposure_s=[3600.0, 7200.0]))
    assert re.findall(r'"end"[^>]*>([\d.]+)<', picture) == ["0", "0.5", "1", "1.5", "2"]


def test_the_signals_scale_reaches_from_a_deep_fade_to_above_the_reference() -> None:
    """A decibel above the reference and four below, or as far as the data go."""
    steady = drawn(SIGNAL_TREND, history(esno_db=[12.0, 12.0], reference_db=[12.0, 12.0]))
    ticks = [float(tick) for tick in re.findall(r'"end"[^>]*>([\d.]+)<', steady)]
    assert (min(ticks), max(ticks)) == (8.0, 13.0)


def test_lines_differ_without_colour() -> None:
    known = history(esno_db=[1.0, 1.0], plan_esno_db=[2.0, 2.0], reference_db=[3.0, 3.0])
    picture = drawn(SIGNAL_TREND, known)
    dashes = re.findall(r'var\(--(?:plan|reference)\)"[^>]*stroke-dasharray="([^"]+)"', picture)
    assert len(set(dashes)) == 2
    assert set(strokes(picture)) == {"plan", "reference", "measured"}


def test_a_gap_is_not_bridged() -> None:
    unix_s = np.array([0.0, 60.0, 60.0 + MINUTE_GAP_S + 1.0])
    assert np.isnan(with_gaps(unix_s, MINUTE_GAP_S)).tolist() == [False, False, True, False]
    assert np.isnan(with_gaps(unix_s, 30.0)).tolist() == [False, True, False, True, False]
    assert np.isnan(with_gaps(unix_s, 2.0 * MINUTE_GAP_S)).tolist() == [False, False, False]
    known = History(unix_s=unix_s, figures={"esno_db": np.array([1.0, 2.0, 3.0])})
    picture = trend_picture(SIGNAL_TREND, known, (0.0, 400.0), MADRID)
    assert re.sub(r"[\d. ]", "", strokes(picture)["measured"]) == "MLM"


def test_a_rate_that_nobody_tests_any_more_ends_its_line() -> None:
    """Tests once a minute until minute 20: three of their intervals later they are not the present."""
    engine = AlertEngine(job(), night(), default_rules())
    heard = in_order([*peaking(), *level(0.0, 60.0), *rate_tests(0.0, 20.0)])
    known, minutes = [], []
    for minute in range(1, 61):
        while heard and heard[0].unix_s <= at(minute):
            engine.update(heard.pop(0))
        engine.advance(at(minute))
        known.append(engine.situation().figures)
        minutes.append(at(minute))
    keys = ("up_mbps", "down_mbps", "plan_up_mbps")
    figures = {key: np.array([one.get(key, np.nan) for one in known]) for key in keys}
    span = (at(0.0), at(60.0))
    picture = trend_picture(TRENDS[1], History(unix_s=np.array(minutes), figures=figures), span, MADRID)
    ends = {style: float(re.findall(r"[ML]([\d.]+) ", path)[-1]) for style, path in strokes(picture).items()}
    first = float(re.findall(r"M([\d.]+) ", strokes(picture)["plan"])[0])
    for style in ("measured", "second"):
        minute = 1.0 + 59.0 * (ends[style] - first) / (ends["plan"] - first)
        assert 20.0 <= minute <= 24.5, minute


@pytest.mark.parametrize(
    ("values", "kept"),
    [
        ([], []),
        ([5.0], [0]),
        ([5.0, 5.0, 5.0, 5.0], [0, 3]),
        ([5.0, 5.0, 5.0, 6.0, 6.0, 6.0], [0, 2, 3, 5]),
        ([5.0, np.nan, 5.0, 5.0, 5.0], [0, 1, 2, 4]),
    ],
)
def test_level_stretches_keep_their_ends(values: list[float], kept: list[int]) -> None:
    assert np.flatnonzero(where_it_bends(np.array(values, dtype=np.float32))).tolist() == kept


@pytest.mark.parametrize(
    ("figures", "unit", "line"),
    [
        ({"esno_db": 11.0, "plan_esno_db": 12.0}, "dB", "Es/N0"),
        ({"cn_db": 11.0, "plan_esno_db": 12.0}, "dB", "C/N"),
        ({"quality_percent": 60.0, "plan_esno_db": 12.0}, "%", "quality by the modem"),
    ],
)
def test_signal_is_shown_as_the_modem_gives_it(figures: dict[str, float], unit: str, line: str) -> None:
    """C/N and a coarse quality are never called Es/N0, nor compared with a planned Es/N0."""
    now = trends_of(figures, history())[0]
    assert (now.unit, now.lines[-1].name) == (unit, line)
    assert ("plan_esno_db" in {one.key for one in now.lines}) == (line == "Es/N0")
    minutes = {key: [value] for key, value in figures.items()}
    assert trends_of({}, history(**minutes))[0] == now
