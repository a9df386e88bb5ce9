"""Rules files: what is read, and what is said of a wrong one."""

import numpy as np
import pytest

from agent.errors import UsageError
from agent.watch.rule_table import CLEAR, INHIBITIONS, RAISE, Term
from agent.watch.rules import BY_NAME, PARAMETERS, RULES, default_rules, parse_rules, rule_set


def test_a_rules_file_changes_what_it_names_and_nothing_else() -> None:
    changed = parse_rules("[repeak]\nraise_db = 1.5\nhold_s = 300\n", "mine.toml")
    differing = {name for name in BY_NAME if changed.values[name][0] != default_rules().values[name][0]}
    assert differing == {"repeak.raise_db", "repeak.hold_s"}
    assert changed.values["repeak.hold_s"].tolist() == [300.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            "[repeak]\nraise_db = 'much'\n",
            "mine.toml: [repeak] raise_db = 'much': expected a number from 0.2 to 10",
        ),
        ("[repeak]\nraise_db = true\n", "expected a number"),
        ("[repeak]\nraise_db = 99\n", "raise_db = 99: expected a number from 0.2 to 10 (dB)"),
        ("[repeak]\nraise_db = nan\n", "expected a number"),
        ("[repeak]\nraise = 1\n", "[repeak] raise is unknown; known keys: raise_db, clear_db"),
        ("[dance]\nraise_db = 1\n", "[dance] is no rule; known rules: shade, repeak"),
        ("repeak = 3\n", "[repeak] is no rule"),
        ("[repeak\n", "mine.toml: not TOML"),
    ],
)
def test_a_wrong_rules_file_is_refused_with_place_and_remedy(text: str, said: str) -> None:
    with pytest.raises(UsageError) as refused:
        parse_rules(text, "mine.toml")
    assert said in str(refused.value)


def test_digest_tells_rule_sets_apart() -> None:
    assert default_rules().digest() == rule_set([{}]).digest()
    assert default_rules().digest() != rule_set([{"repeak.raise_db": 1.1}]).digest()


def test_sets_side_by_side_are_the_sets_one_by_one() -> None:
    both = rule_set([{}, {"shade.lead_s": 900.0}])
    assert both.n_sets == 2
    assert both.only(1).digest() == rule_set([{"shade.lead_s": 900.0}]).digest()


def test_every_default_lies_in_its_range_and_has_a_reason() -> None:
    for parameter in PARAMETERS:
        assert parameter.low <= parameter.value <= parameter.high, parameter.name
        assert len(parameter.reason) > 10, parameter.name


def test_every_parameter_is_read_by_a_rule() -> None:
    timing = {f"{rule}.{key}" for rule in RULES for key in ("hold_s", "clear_hold_s", "repeat_s")}
    terms: list[Term] = [term for clause in RAISE for term in clause.terms]
    terms += [term for clauses in CLEAR.values() for clause in clauses for term in clause]
    read = {term.threshold for term in terms if isinstance(term.threshold, str)}
    assert read | timing == set(BY_NAME)


def test_every_rule_can_be_raised_and_cleared() -> None:
    assert {clause.rule for clause in RAISE} == set(RULES) == set(CLEAR)
    assert set(INHIBITIONS) <= set(RULES)


def test_rule_sets_are_plain_columns() -> None:
    columns = rule_set([{}, {}, {}]).values
    assert all(isinstance(column, np.ndarray) and column.shape == (3,) for column in columns.values())
