"""Rules files: what is read, and what is said of a wrong one."""

from dataclasses import fields, replace
from typing import Any, get_type_hints

import numpy as np
import pytest

from agent.errors import UsageError
from agent.watch.features import Features
from agent.watch.rule_set import default_rules, parse_rules, rule_set
from agent.watch.rules import BY_NAME, PARAMETERS, RULES
from agent.watch.rules.rule import Clause, Parameter, Rule, at_least, at_most


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
        ("[dance]\nraise_db = 1\n", "[dance] is no rule; known rules: link-down, stream-down, shade"),
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
    terms = [term for rule in RULES.values() for clause in rule.clauses for term in clause.terms]
    terms += [term for rule in RULES.values() for clause in (*rule.clearing, rule.doubt) for term in clause]
    read = {term.threshold for term in terms if isinstance(term.threshold, str)}
    assert read | timing == set(BY_NAME)


@pytest.mark.parametrize("part", [item.name for item in fields(Rule)])
def test_a_rule_that_lacks_a_part_does_not_import(part: str) -> None:
    parts = {item.name: getattr(RULES["repeak"], item.name) for item in fields(Rule) if item.name != part}
    with pytest.raises(TypeError, match=part):
        Rule(**parts)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"clauses": ()}, "must not be empty"),
        ({"label": ""}, "must not be empty"),
        ({"clauses": (Clause("act", (at_least("wind", 3.0),)),)}, "there is no feature wind"),
        ({"inhibitions": {"asleep": "the crew sleeps"}}, "there is no feature asleep"),
        (
            {"clauses": (Clause("act", (at_least("certain_db", "repeak.much"),)),)},
            "there is no parameter repeak.much",
        ),
        ({"clearing": ((at_most("certain_db", 0.1),),)}, "no term reads repeak.clear_db"),
        ({"parameters": RULES["repeak"].parameters[:-1]}, "parameter repeak.repeat_s is missing"),
        (
            {"parameters": (*RULES["repeak"].parameters, Parameter("repeak.x", 2.0, "1", 0.0, 1.0, "why"))},
            "repeak.x = 2.0 needs a reason and a place from 0.0 to 1.0",
        ),
    ],
)
def test_a_rule_that_names_what_is_not_there_does_not_import(change: dict[str, Any], said: str) -> None:
    with pytest.raises(ValueError, match="rule repeak: ") as refused:
        replace(RULES["repeak"], **change)
    assert said in str(refused.value)


def test_every_feature_says_what_it_is_and_is_read_by_a_rule() -> None:
    hints = get_type_hints(Features, include_extras=True)
    assert all(len(hints[name].__metadata__[0]) > 10 for name in Features._fields)
    terms = [term for rule in RULES.values() for clause in rule.clauses for term in clause.terms]
    terms += [term for rule in RULES.values() for clause in (*rule.clearing, rule.doubt) for term in clause]
    flags = {flag for rule in RULES.values() for flag in rule.inhibitions}
    assert {term.feature for term in terms} | flags == set(Features._fields)


def test_rule_sets_are_plain_columns() -> None:
    columns = rule_set([{}, {}, {}]).values
    assert all(isinstance(column, np.ndarray) and column.shape == (3,) for column in columns.values())
