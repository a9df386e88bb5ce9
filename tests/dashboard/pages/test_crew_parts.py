"""The crew page's parts say the right words, whatever the situation holds."""

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import get_args
from zoneinfo import ZoneInfo

import pytest
from dash.development.base_component import Component
from plotly.utils import PlotlyJSONEncoder

from agent.records import Cause, NoteKind, Severity
from agent.watch.rule_set import default_rules
from agent.watch.rules import in_words
from dashboard import words
from dashboard.figures.trends import TRENDS, Trend
from dashboard.pages import crew_parts
from dashboard.pages.crew import is_over
from dashboard.queries import CurrentSituation
from dashboard.settings import Settings
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SCENES, active

MADRID = ZoneInfo("Europe/Madrid")


def said(part: Component) -> str:
    """The words of a part, one after the other."""
    found: list[str] = []

    def walk(tree: object) -> None:
        if isinstance(tree, str):
            found.append(tree)
        elif isinstance(tree, list):
            for branch in tree:
                walk(branch)
        elif isinstance(tree, dict):
            walk(tree["props"].get("children", []))

    walk(json.loads(json.dumps(part, cls=PlotlyJSONEncoder)))
    return " ".join(found)


@pytest.mark.parametrize(
    ("left_s", "text"),
    [(1500.0, "25 min  left"), (59.0, "59 s  left"), (0.0, "0 s  left"), (-130.0, "overdue by  2 min")],
)
def test_time_left_and_overdue(left_s: float, text: str) -> None:
    situation = replace(SCENES["act"], deadline_unix_s=NOW_UNIX_S + left_s)
    assert text in said(crew_parts.verdict(situation, {}, MADRID))


def test_without_a_deadline_no_time_is_promised() -> None:
    assert "left" not in said(crew_parts.verdict(replace(SCENES["act"], deadline_unix_s=None), {}, MADRID))


def test_levels_differ_by_shape_and_by_word() -> None:
    marks = {level: str(crew_parts.level_mark(level)) for level in words.LEVELS}
    assert len(set(marks.values())) == len(words.LEVELS)
    assert len(set(words.LEVELS.values())) == len(words.LEVELS)


def test_next_thing_with_its_time_or_none() -> None:
    """Madrid is UTC+2 in July."""
    assert said(crew_parts.next_thing(SCENES["fine"], MADRID)) == "Next:  sun pass in 40 min , at 14:16"
    assert said(crew_parts.next_thing(SCENES["unknown"], MADRID)) == "Next:  Nothing is foreseen."


def test_longest_silence_comes_first() -> None:
    last_seen_unix_s = {"signal": NOW_UNIX_S - 5.0, "temperature modem": NOW_UNIX_S - 900.0}
    text = said(crew_parts.input_ages(last_seen_unix_s, NOW_UNIX_S, MADRID))
    assert text.startswith("Modem thermometer 15 min ago Signal 5 s ago")


def test_what_was_not_heard_on_this_day_is_named() -> None:
    """Just after midnight in Madrid, which is 22:00 UTC in July: yesterday's weather is not today's."""
    midnight_unix_s = datetime(2026, 7, 18, 22, 0, tzinfo=UTC).timestamp()
    last = {"signal": midnight_unix_s + 1.0, "weather": midnight_unix_s - 1.0, "power": midnight_unix_s + 5.0}
    text = said(crew_parts.input_ages(last, midnight_unix_s + 9.0, MADRID))
    assert text.endswith("Not heard today, and not watched: Throughput, Temperature, Weather.")
    everything = dict.fromkeys(("signal", "throughput", "temperature modem", "weather", "power"), NOW_UNIX_S)
    assert "Not heard" not in said(crew_parts.input_ages(everything, NOW_UNIX_S, MADRID))


def test_an_old_rate_is_shown_as_old() -> None:
    rate = next(trend for trend in TRENDS if trend.name == "rate")
    old = said(crew_parts.trend_caption(rate, {"rate_tested_unix_s": NOW_UNIX_S, "stream_mbps": 1.5}, MADRID))
    assert old.count("last test 13:36") == 2
    fresh = said(crew_parts.trend_caption(rate, {"up_mbps": 3.0, "down_mbps": 4.0}, MADRID))
    assert "last test" not in fresh


def test_a_level_below_the_plan_can_be_accepted_where_it_is_told() -> None:
    below = replace(SCENES["act"], alerts=(active(replace(REPEAK, rule="below-plan")),))
    assert "Accept this level" in said(crew_parts.verdict(below, {}, MADRID))
    assert "Accept this level" not in said(crew_parts.verdict(SCENES["act"], {}, MADRID))


@pytest.mark.parametrize(("cause", "offered"), [("rain", False), ("sun-pass", False), ("mispoint", True)])
def test_no_key_to_peak_beside_the_words_to_leave_the_dish(cause: Cause, offered: bool) -> None:
    down = replace(SCENES["act"], alerts=(active(replace(REPEAK, rule="link-down", cause=cause)),))
    assert ("Peaking starts" in said(crew_parts.verdict(down, {}, MADRID))) == offered


def test_a_rule_of_the_crews_own_is_shown_by_its_name() -> None:
    own = active(replace(REPEAK, rule="our-own-rule"))
    assert "our-own-rule" in said(
        crew_parts.alert_list(replace(SCENES["unknown"], alerts=(own,)), {}, MADRID)
    )


@pytest.mark.parametrize("trend", TRENDS, ids=lambda trend: trend.name)
def test_unknown_figures_are_said_to_be_unknown(trend: Trend) -> None:
    assert words.NOT_KNOWN in said(crew_parts.trend_caption(trend, {}, MADRID))


def test_there_is_a_word_for_everything_the_engine_may_say() -> None:
    assert set(get_args(NoteKind)) == set(words.NOTE_NAMES)
    assert set(get_args(Cause)) == set(words.CAUSES)
    assert {*get_args(Severity), "fine", "unknown"} == set(words.LEVELS)
    assert all(in_words(rule) != rule for rule in {name.split(".")[0] for name in default_rules().values})


def test_a_played_day_says_that_it_is_over() -> None:
    """Only where it has come to its end, and the agent writes no more of it; a live day has none."""
    end_unix_s = NOW_UNIX_S + 30.0
    played = Settings(store=Path(), mqtt_host="", mqtt_port=1, speed=20.0, ends_unix_s=end_unix_s)
    now = CurrentSituation(terminal="van-1", situation=SCENES["fine"], written_wall_unix_s=1000.0)
    assert is_over(now, played, 1020.0)
    assert not is_over(now, played, 1001.0)
    assert not is_over(now, replace(played, ends_unix_s=None), 1020.0)
    assert not is_over(now, replace(played, ends_unix_s=NOW_UNIX_S + 3600.0), 1020.0)
    assert words.DAY_OVER in said(crew_parts.day_over())
