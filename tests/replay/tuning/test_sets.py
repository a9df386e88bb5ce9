"""Which sets are tried."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.errors import UsageError
from agent.replay.tuning.sets import (
    Range,
    changes_of,
    full_ranges,
    grid_changes,
    parse_grid,
    parse_vary,
    random_changes,
    sets_around,
)
from agent.watch.rule_set import parse_rules
from agent.watch.rules import BY_NAME, RULES


def test_a_grid_has_both_ends_and_even_steps() -> None:
    grid = parse_grid("repeak.raise_db=0.7:1.5:9")
    values = [one["repeak.raise_db"] for one in grid_changes([grid])]
    assert values == [0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5]


def test_grids_are_combined_each_value_with_each() -> None:
    grids = [parse_grid("repeak.raise_db=0.7:0.9:2"), parse_grid("wait-rain.hold_s=0:60:3")]
    assert grid_changes(grids) == [
        {"repeak.raise_db": raise_db, "wait-rain.hold_s": hold_s}
        for raise_db in (0.7, 0.9)
        for hold_s in (0.0, 30.0, 60.0)
    ]


def test_no_grid_is_no_set() -> None:
    assert grid_changes([]) == []


@given(st.integers(0, 2**32), st.integers(0, 40))
def test_random_sets_repeat_and_keep_within_what_is_allowed(seed: int, count: int) -> None:
    drawn = random_changes(full_ranges(), count, seed)
    assert drawn == random_changes(full_ranges(), count, seed)
    assert len(drawn) == count
    for one in drawn:
        assert one.keys() == BY_NAME.keys()
        assert all(BY_NAME[name].low <= value <= BY_NAME[name].high for name, value in one.items())


def test_another_seed_draws_others() -> None:
    assert random_changes(full_ranges("repeak"), 5, 1) != random_changes(full_ranges("repeak"), 5, 2)


@pytest.mark.parametrize("rule", RULES)
def test_a_rule_stands_for_all_its_numbers(rule: str) -> None:
    assert {one.name for one in parse_vary(rule)} == {name for name in BY_NAME if name.startswith(f"{rule}.")}


def test_one_number_in_its_whole_range_or_in_another() -> None:
    assert parse_vary("repeak.confidence") == [Range("repeak.confidence", 0.0, 1.0)]
    assert parse_vary("repeak.confidence=0.5:0.9") == [Range("repeak.confidence", 0.5, 0.9)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("repeak.raise_db", "expected RULE.KEY=LOW:HIGH:COUNT"),
        ("repeak.raise=1:2:3", "repeak.raise is no parameter of a rule; known: repeak.raise_db"),
        ("peak.raise_db=1:2:3", "is no parameter of a rule; known: "),
        ("repeak.raise_db=2:1:3", "2 to 1; expected low before high within 0.2 to 10 (dB)"),
        ("repeak.raise_db=0.1:1:3", "within 0.2 to 10"),
        ("repeak.raise_db=1:2:0", "the count is 0; expected at least 1"),
        ("repeak.raise_db=1.2.3:2:3", "1.2.3 is no number"),
    ],
)
def test_a_wrong_grid_is_explained(text: str, words: str) -> None:
    with pytest.raises(UsageError) as raised:
        parse_grid(text)
    assert words in str(raised.value)


@pytest.mark.parametrize("text", ["", "repeak=1:2", "repeak.raise_db=1", "nothing"])
def test_a_wrong_range_is_explained(text: str) -> None:
    with pytest.raises(UsageError, match="--vary"):
        parse_vary(text)


def test_too_many_sets_are_refused_before_any_is_made() -> None:
    with pytest.raises(UsageError, match="has 1000000 sets"):
        grid_changes(
            [
                parse_grid(f"{name}=1:2:100")
                for name in ("repeak.raise_db", "wait-rain.raise_db", "shade.loss_db")
            ]
        )
    with pytest.raises(UsageError, match="--random"):
        random_changes(full_ranges(), 10**6, 1)


def test_set_0_is_the_rules_in_force_and_the_others_stand_around_it() -> None:
    present = parse_rules("[repeak]\nraise_db = 1.2\nhold_s = 60\n", "present.toml")
    rules = sets_around(present, [{"repeak.raise_db": 1.4}, {}])
    assert rules.only(0).digest() == present.digest()
    assert changes_of(rules, 1) == {"repeak.raise_db": 1.4}
    assert changes_of(rules, 2) == {}
    assert rules.values["repeak.hold_s"].tolist() == [60.0, 60.0, 60.0]
