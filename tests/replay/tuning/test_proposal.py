"""The proposed rules file: what it says is what was judged, and nothing needless stays in it."""

import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from agent.replay.replaying import replay_events, session_plan
from agent.replay.scoring import Interval, score
from agent.replay.session_time import SiteClock
from agent.replay.sessions import read_session
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.proposal import needed_changes, propose, rules_toml
from agent.replay.tuning.sets import sets_around
from agent.replay.tuning.sweep import tune
from agent.replay.tuning.telling import tuned_text, warning
from agent.replay.tuning.workers import in_turn
from agent.watch.rule_set import RuleSet, default_rules, parse_rules

# Rules in force that miss the knock of 1.6 dB in the first hours of the sample day.
DEAF = parse_rules("[repeak]\nraise_db = 3.0\n[shade]\nlead_s = 1200\n", "deaf.toml")
# One change that helps, and three that do nothing on these hours.
CHANGES = {
    "repeak.raise_db": 0.9,
    "repeak.urgent_db": 5.0,
    "on-battery.urgent_s": 500.0,
    "wait-sun-pass.announce_s": 901.0,
}


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("work")


@pytest.fixture
def bench(folders: Sequence[Path], work: Path) -> Bench:
    return Bench(tuple(folders), in_turn, work)


def values(rules: RuleSet) -> Mapping[str, float]:
    return {name: float(column[0]) for name, column in rules.values.items()}


def test_only_needed_changes_stay(bench: Bench) -> None:
    assert needed_changes(bench, DEAF, CHANGES) == {"repeak.raise_db": 0.9}


def test_no_change_is_needed_where_nothing_is_won(bench: Bench) -> None:
    assert needed_changes(bench, default_rules(), {"on-battery.urgent_s": 500.0}) == {}


def test_the_file_holds_the_present_numbers_the_changes_and_a_reason_for_each_change(bench: Bench) -> None:
    proposal = propose(bench, DEAF, {"repeak.raise_db": 0.9, "repeak.hold_s": 60.0})
    text = rules_toml(DEAF, proposal, ["Proposed.", "Not in force."])
    assert tomllib.loads(text) == {"shade": {"lead_s": 1200.0}, "repeak": {"raise_db": 0.9, "hold_s": 60.0}}
    expected = values(DEAF) | {"repeak.raise_db": 0.9, "repeak.hold_s": 60.0}
    assert values(parse_rules(text, "proposed")) == expected
    lines = text.splitlines()
    assert lines[:2] == ["# Proposed.", "# Not in force."]
    assert "was 3 dB" in lines[lines.index("raise_db = 0.9") - 2]
    assert "without this one" in lines[lines.index("raise_db = 0.9") - 1]
    assert lines[lines.index("lead_s = 1200.0") - 1] == "[shade]"


def test_the_figures_with_and_without_each_change_are_those_of_these_rules(bench: Bench) -> None:
    """Each one counted again from the rules that it is said to be of."""
    changes = {"repeak.raise_db": 0.9, "repeak.hold_s": 60.0}
    proposal = propose(bench, DEAF, changes)
    said = [(proposal.present, DEAF), (proposal.proposed, sets_around(DEAF, [changes]).only(1))]
    for name, one in proposal.without.items():
        rest = {key: value for key, value in changes.items() if key != name}
        said.append((one, sets_around(DEAF, [rest]).only(1)))
    for figures, rules in said:
        by_hand = [count(folder, rules) for folder in bench.sessions]
        assert (figures.found, figures.episodes, figures.false_alarms) == tuple(
            map(sum, zip(*by_hand, strict=True))
        )


def count(folder: Path, rules: RuleSet) -> tuple[int, int, int]:
    """Found, episodes and false alarms of the engine on one session."""
    day = read_session(folder)
    events, _ = replay_events(day, session_plan(day), rules)
    parts = score(events, day.labels or (), Interval(day.start_unix_s, day.end_unix_s)).values()
    return sum(p.detected for p in parts), sum(p.episodes for p in parts), sum(p.false_alarms for p in parts)


def test_the_differences_are_what_the_accepted_file_changes(bench: Bench) -> None:
    tuned = tune(bench, DEAF, [{"repeak.raise_db": 0.9}], None)
    assert tuned.proposal.changes == {"repeak.raise_db": 0.9}
    told = [(one.kind, one.rule) for session in tuned.differences for one in session if one.kind != "same"]
    # What nobody calls a re-peak is looked at instead.
    assert told == [("only-second", "repeak"), ("only-first", "look-at-dish")]


def test_sessions_left_out_that_come_out_worse_are_a_warning(bench: Bench) -> None:
    """The knock is in the first session alone: with it left out, nobody knows of it."""
    tuned = tune(bench, DEAF, [{"repeak.raise_db": 0.9}], None)
    assert [one.chosen for one in tuned.held_out] == [0, 1, 1]
    assert warning(tuned) is None
    lines = list(tuned_text(tuned, ["a", "b", "c"], [SiteClock(ZoneInfo("UTC"))] * 3))
    assert any("PRESENT RULES" in line for line in lines)
    assert any("CHOSEN repeak.raise_db 0.9" in line for line in lines)
    alone = tune(Bench(bench.sessions[:1], in_turn, bench.work), DEAF, [{"repeak.raise_db": 0.9}], None)
    assert "cannot be left out" in str(warning(alone))
