"""Every rule against its truth table: each clause at the threshold and a hair off it, with exact events.

What is expected comes from `tests.watch.truth_table` and from a state machine written here in plain loops.
"""

import random
from dataclasses import dataclass
from math import inf, nan

import numpy as np
import pytest

from agent.records import Acknowledge, Power, Severity
from agent.watch.features import Features
from agent.watch.rule_set import default_rules, rule_set
from agent.watch.rule_stage import RuleStage
from agent.watch.rules import RULES
from agent.watch.rules.rule import NotScored, Scored
from tests.watch.sample_day import at, engine
from tests.watch.truth_table import TRUTH, Told

STEP_S = 10.0
HAIR = 1e-6
GRAVITY: tuple[Severity, ...] = ("advise", "act", "urgent")
Row = dict[str, float]
Event = tuple[float, Severity | None]


@dataclass(frozen=True, slots=True)
class Statement:
    """A feature on that side (1 at least, -1 at most) of a number; a flag is either up or down."""

    feature: str
    side: int
    number: float
    flag: bool = False

    def holds(self, row: Row) -> bool:
        value = row.get(self.feature, nan)
        return value >= self.number if self.side > 0 else value <= self.number

    def off(self, hairs: int) -> Row:
        """So many hairs to the side where it holds."""
        if self.flag:
            return {self.feature: float((self.side > 0) == (hairs >= 0))}
        return {self.feature: self.number + hairs * self.side * HAIR * max(1.0, abs(self.number))}


def statements(line: str) -> tuple[Statement, ...]:
    found = []
    for part in line.split(", "):
        match part.split():
            case [flag]:
                found.append(Statement(flag, 1, 0.5, flag=True))
            case ["no", flag]:
                found.append(Statement(flag, -1, 0.5, flag=True))
            case [feature, side, number]:
                found.append(Statement(feature, 1 if side == ">=" else -1, float(number)))
    return tuple(found)


def holding(line: str) -> Row:
    """A row in which the line holds, by a hair, and nothing else is known."""
    row: Row = {}
    for one in statements(line):
        row.update(one.off(1))
    return row


def level(truth: Told, row: Row) -> int:
    """How grave the rule is by its table: 0 none, 3 urgent."""
    if any(row.get(flag, nan) >= 0.5 for flag in truth.silenced):
        return 0
    asked = [
        GRAVITY.index(severity) + 1
        for severity, line in truth.raised
        if all(one.holds(row) for one in statements(line))
    ]
    return max(asked, default=0)


def clears(truth: Told, row: Row) -> bool:
    return any(all(one.holds(row) for one in statements(line)) for line in truth.cleared)


def doubts(truth: Told, row: Row) -> bool:
    return bool(truth.doubted) and all(one.holds(row) for one in statements(truth.doubted))


def told(rule: str, steps: list[tuple[float, Row]]) -> list[Event]:
    """What the rule says when each row holds from its moment on, up to the last moment."""
    stage, events = RuleStage(default_rules()), []
    ends = [moment for moment, _ in steps[1:]]
    for (start_s, row), end_s in zip(steps, ends, strict=False):
        features = np.array([row.get(name, nan) for name in Features._fields])
        for index in range(int((end_s - start_s) / STEP_S)):
            events += stage.decide(start_s + index * STEP_S, features)
    return [(one.unix_s, one.severity) for one in events if one.rule == rule]


CLAUSES = [(rule, severity, line) for rule, truth in TRUTH.items() for severity, line in truth.raised]
CLEARINGS = [(rule, line) for rule, truth in TRUTH.items() for line in truth.cleared]
DOUBTS = [rule for rule, truth in TRUTH.items() if truth.doubted]
FLAGS = sorted({flag for truth in TRUTH.values() for flag in truth.silenced})


def test_every_rule_has_its_truth_table_in_the_order_in_which_they_speak() -> None:
    names = ["link-down", "stream-down", "shade", "repeak", "look-at-dish", "wait-sun-pass", "wait-rain"]
    names += ["blockage", "lower-stream", "look-at-lan", "call-network", "throughput-low", "on-battery"]
    assert list(RULES) == [*names, "no-data", "clock-wrong", "clock-stepped", "below-plan"]
    assert TRUTH.keys() == RULES.keys()


@pytest.mark.parametrize("rule", TRUTH)
def test_what_a_rule_is_called_scored_by_and_answered_with(rule: str) -> None:
    one, truth = RULES[rule], TRUTH[rule]
    assert (one.name, one.label, one.deeds) == (rule, truth.label, truth.deeds)
    assert frozenset(one.inhibitions) == truth.silenced
    assert all(len(reason) > 10 for reason in one.inhibitions.values())
    match one.scoring:
        case Scored(cause, early_s, late_s):
            assert (cause, early_s, late_s) == truth.scored
        case NotScored(reason):
            assert truth.scored is None and len(reason) > 10


@pytest.mark.parametrize(("rule", "severity", "line"), CLAUSES)
def test_a_clause_raises_when_its_hold_is_over_and_not_before(
    rule: str, severity: Severity, line: str
) -> None:
    truth, hold_s = TRUTH[rule], TRUTH[rule].times_s[0]
    row = holding(line)
    assert GRAVITY[level(truth, row) - 1] == severity
    assert told(rule, [(0.0, row), (hold_s, {})]) == []
    assert told(rule, [(0.0, row), (hold_s + STEP_S, {})]) == [(hold_s, severity)]
    # One step of something else, and the hold begins anew.
    broken = [(0.0, row), (hold_s, {}), (hold_s + STEP_S, row), (2.0 * hold_s + STEP_S, {})]
    assert told(rule, broken) == []


@pytest.mark.parametrize(("rule", "severity", "line"), CLAUSES)
@pytest.mark.parametrize("hairs", [-1, 0])
def test_each_term_of_a_clause_decides(rule: str, severity: Severity, line: str, hairs: int) -> None:
    truth, hold_s = TRUTH[rule], TRUTH[rule].times_s[0]
    for one in statements(line):
        row = holding(line) | one.off(hairs)
        expected = level(truth, row)
        assert (expected == GRAVITY.index(severity) + 1) or hairs < 0
        events = [(hold_s, GRAVITY[expected - 1])] if expected else []
        assert told(rule, [(0.0, row), (hold_s + STEP_S, {})]) == events
        unknown = {name: value for name, value in row.items() if name != one.feature}
        expected = level(truth, unknown)
        events = [(hold_s, GRAVITY[expected - 1])] if expected else []
        assert told(rule, [(0.0, unknown), (hold_s + STEP_S, {})]) == events


@pytest.mark.parametrize(("rule", "severity", "line"), CLAUSES)
@pytest.mark.parametrize("flag", FLAGS)
def test_a_flag_silences_the_rules_that_name_it_and_no_other(
    rule: str, severity: Severity, line: str, flag: str
) -> None:
    row, hold_s = holding(line), TRUTH[rule].times_s[0]
    if flag in row:
        return
    silent = flag in TRUTH[rule].silenced
    steps = [
        (0.0, row | {flag: 1.0}),
        (hold_s + STEP_S, row | {flag: 0.0}),
        (2.0 * hold_s + 2.0 * STEP_S, {}),
    ]
    assert told(rule, steps) == [(2.0 * hold_s + STEP_S if silent else hold_s, severity)]


def risen(rule: str) -> tuple[Row, float]:
    """A row in which the first clause holds, and when it has spoken."""
    return holding(TRUTH[rule].raised[0][1]), TRUTH[rule].times_s[0] + STEP_S


@pytest.mark.parametrize(("rule", "line"), CLEARINGS)
def test_an_alert_clears_when_its_clear_hold_is_over_and_not_before(rule: str, line: str) -> None:
    (row, gone_s), clear_hold_s = risen(rule), TRUTH[rule].times_s[1]
    clear = holding(line)
    severity = TRUTH[rule].raised[0][0]
    raised = [(gone_s - STEP_S, severity)]
    over_s = gone_s + clear_hold_s
    assert told(rule, [(0.0, row), (gone_s, clear), (over_s, {})]) == raised
    cleared = told(rule, [(0.0, row), (gone_s, clear), (over_s + STEP_S, {})])
    assert cleared == [*raised, (over_s, None)]
    # What is not known clears nothing, and begins the clear hold anew.
    assert told(rule, [(0.0, row), (gone_s, {}), (over_s + 7200.0, {})]) == raised


@pytest.mark.parametrize(("rule", "line"), CLEARINGS)
@pytest.mark.parametrize("hairs", [-1, 0])
def test_each_term_of_a_clearing_decides(rule: str, line: str, hairs: int) -> None:
    truth, clear_hold_s = TRUTH[rule], TRUTH[rule].times_s[1]
    row, gone_s = risen(rule)
    for one in statements(line):
        near = holding(line) | one.off(hairs)
        unknown = {name: value for name, value in near.items() if name != one.feature}
        for clear in (near, unknown):
            found = told(rule, [(0.0, row), (gone_s, clear), (gone_s + clear_hold_s + STEP_S, {})])
            over = clears(truth, clear) and not level(truth, clear)
            assert ((gone_s + clear_hold_s, None) in found) is over


@pytest.mark.parametrize("rule", DOUBTS)
@pytest.mark.parametrize("hairs", [-1, 0])
def test_in_doubt_an_alert_goes_after_a_minute(rule: str, hairs: int) -> None:
    """Not one decision sooner or later, and not while a term of it fails or is not known."""
    truth = TRUTH[rule]
    (row, gone_s), over_s = risen(rule), min(60.0, truth.times_s[1])
    for one in statements(truth.doubted):
        doubted = holding(truth.doubted) | one.off(hairs)
        found = told(rule, [(0.0, row), (gone_s, doubted), (gone_s + over_s + STEP_S, {})])
        assert ((gone_s + over_s, None) in found) is (doubts(truth, doubted) and not level(truth, doubted))
        unknown = {name: value for name, value in doubted.items() if name != one.feature}
        assert len(told(rule, [(0.0, row), (gone_s, unknown), (gone_s + 7200.0, {})])) == 1


def test_the_outright_rule_and_the_asking_one_take_turns_at_once() -> None:
    """Only one of them stands: less sure, the other asks with the same decision, if anything is missing."""
    sure = holding("certain_db >= 0.7, mispoint_confidence >= 0.85") | {"mispoint_confidence": 0.95}
    unsure = sure | {"mispoint_confidence": 0.5, "peaking": 0.0, "unlocked": 0.0, "told_elsewhere": 1.0}
    courses = [(unsure, 40), (sure, 30), (unsure, 30), (sure, 60), (holding("certain_db <= 0.4"), 10)]
    stage, events, now_s = RuleStage(default_rules()), [], 0.0
    for row, count in courses:
        features = np.array([row.get(name, nan) for name in Features._fields])
        for _ in range(count):
            events += stage.decide(now_s, features)
            now_s += STEP_S
    outright, asking = "repeak", "look-at-dish"
    assert [(one.unix_s, one.rule, one.severity) for one in events] == [
        (360.0, asking, "advise"),
        (580.0, outright, "act"),
        (580.0, asking, None),
        (760.0, outright, None),
        (760.0, asking, "advise"),
        (1360.0, outright, "act"),  # the time of its repeat is over
        (1360.0, asking, None),
        (1660.0, outright, None),
    ]


def test_the_outright_rule_alone_speaks_where_both_come_due_together() -> None:
    """Three minutes of certainty after three of doubt end both holds with the same decision."""
    unsure = holding("certain_db >= 0.5, mispoint_confidence >= 0.2, told_elsewhere")
    sure = unsure | {"certain_db": 1.4, "mispoint_confidence": 0.95}
    steps = [(0.0, unsure), (180.0, sure), (1000.0, {})]
    assert told("repeak", steps) == [(360.0, "act")]
    assert told("look-at-dish", steps) == []


@pytest.mark.parametrize("rule", TRUTH)
def test_a_standing_alert_stays_through_what_silences_it(rule: str) -> None:
    row, gone_s = risen(rule)
    for flag in TRUTH[rule].silenced:
        silenced = row | {flag: 1.0}
        if not (clears(TRUTH[rule], silenced) or doubts(TRUTH[rule], silenced)):
            assert len(told(rule, [(0.0, row), (gone_s, silenced), (gone_s + 7200.0, {})])) == 1


@pytest.mark.parametrize("rule", TRUTH)
def test_an_alert_is_repeated_when_its_time_is_over_and_not_before(rule: str) -> None:
    (row, gone_s), (hold_s, clear_hold_s, repeat_s) = risen(rule), TRUTH[rule].times_s
    severity, line = TRUTH[rule].raised[0][0], TRUTH[rule].cleared[0]
    over_s = gone_s + clear_hold_s
    again_s = max(over_s + repeat_s, over_s + STEP_S + hold_s)
    steps = [(0.0, row), (gone_s, holding(line)), (over_s + STEP_S, row)]
    first = [(gone_s - STEP_S, severity), (over_s, None)]
    assert told(rule, [*steps, (again_s, {})]) == first
    assert told(rule, [*steps, (again_s + STEP_S, {})]) == [*first, (again_s, severity)]


GRAVER = [rule for rule, truth in TRUTH.items() if len({severity for severity, _ in truth.raised}) > 1]


@pytest.mark.parametrize("rule", GRAVER)
def test_what_is_graver_waits_for_its_hold_alone(rule: str) -> None:
    """After a lesser alert has cleared, and while it stands."""
    truth = TRUTH[rule]
    by_gravity = sorted(truth.raised, key=lambda clause: GRAVITY.index(clause[0]))
    (less, lesser), (more, graver) = by_gravity[0], by_gravity[-1]
    hold_s, clear_hold_s, _ = truth.times_s
    gone_s = hold_s + STEP_S
    stands = told(rule, [(0.0, holding(lesser)), (gone_s, holding(graver)), (gone_s + hold_s + STEP_S, {})])
    assert stands == [(hold_s, less), (gone_s + hold_s, more)]
    again_s = gone_s + clear_hold_s + STEP_S
    steps = [(0.0, holding(lesser)), (gone_s, holding(truth.cleared[0])), (again_s, holding(graver))]
    assert told(rule, [*steps, (again_s + hold_s + STEP_S, {})]) == [
        (hold_s, less),
        (gone_s + clear_hold_s, None),
        (again_s + hold_s, more),
    ]
    # A standing alert is not made less grave; what lapses within its hold is raised as the lesser one.
    back = [(0.0, holding(graver)), (gone_s, holding(lesser)), (gone_s + 7200.0, {})]
    assert told(rule, back) == [(hold_s, more)]
    if hold_s:
        lapsed = [(0.0, holding(graver)), (hold_s, holding(lesser)), (gone_s, {})]
        assert told(rule, lapsed) == [(hold_s, less)]


def test_who_waits_for_the_time_of_repeat_is_told() -> None:
    row, clear = holding("certain_db >= 0.7, mispoint_confidence >= 0.85"), holding("certain_db <= 0.5")
    stage = RuleStage(default_rules())

    def through(row: Row, start_s: float, end_s: float) -> None:
        features = np.array([row.get(name, nan) for name in Features._fields])
        for index in range(int((end_s - start_s) / STEP_S)):
            stage.decide(start_s + index * STEP_S, features)

    through(row, 0.0, 190.0)
    assert stage.waiting(190.0) == []
    through(clear, 190.0, 260.0)  # over at 250
    through(row, 260.0, 440.0)
    assert stage.waiting(430.0) == []
    assert stage.waiting(440.0) == [("repeak", "act")]
    through(row, 440.0, 860.0)  # raised at 850
    assert stage.waiting(860.0) == []


class Plain:
    """The state machine of one rule in plain words, for any course of rows."""

    def __init__(self, truth: Told) -> None:
        self.truth = truth
        self.level = self.pending = self.before = 0
        self.since_s = self.clear_s = nan
        self.cleared_s = -inf

    def step(self, now_s: float, row: Row) -> list[Event]:
        hold_s, clear_hold_s, repeat_s = self.truth.times_s
        asked = level(self.truth, row)
        if asked > self.level:
            if not self.pending:
                self.since_s, self.pending = now_s, asked
            self.pending = min(self.pending, asked)
            soon = self.level == 0 and self.pending <= self.before and now_s - self.cleared_s < repeat_s
            if now_s - self.since_s >= hold_s and not soon:
                self.level, self.pending, self.clear_s = self.pending, 0, nan
                return [(now_s, GRAVITY[self.level - 1])]
        else:
            self.pending = 0
        doubted = doubts(self.truth, row)
        if self.level and not asked and (doubted or clears(self.truth, row)):
            self.clear_s = now_s if self.clear_s != self.clear_s else self.clear_s
            if now_s - self.clear_s >= (min(60.0, clear_hold_s) if doubted else clear_hold_s):
                self.before, self.level, self.cleared_s, self.clear_s = self.level, 0, now_s, nan
                return [(now_s, None)]
        else:
            self.clear_s = nan
        return []


def random_course(rule: str, seed: int) -> list[Row]:
    """Ten hours of rows near the thresholds of the rule; some last, some are gone with the next decision."""
    chance, truth = random.Random(seed), TRUTH[rule]
    lines = [line for _, line in truth.raised] + [*truth.cleared, *filter(None, [truth.doubted])]
    course: list[Row] = []
    while len(course) < 3600:
        row = holding(chance.choice(lines))
        if chance.random() < 0.4:
            row |= holding(chance.choice(lines))
        if truth.silenced and chance.random() < 0.2:
            row |= {chance.choice(sorted(truth.silenced)): 1.0}
        course += [row] * chance.choice((1, 2, 5, 12, 30, 70, 120))
    return course


@pytest.mark.parametrize("rule", TRUTH)
def test_any_course_of_a_day_is_decided_as_in_plain_words(rule: str) -> None:
    course = random_course(rule, 14)
    one, stage = Plain(TRUTH[rule]), RuleStage(default_rules())
    rows = np.array([[row.get(name, nan) for name in Features._fields] for row in course])
    times = [index * STEP_S for index in range(len(course))]
    expected = [event for now_s, row in zip(times, course, strict=True) for event in one.step(now_s, row)]
    assert len(expected) > 1
    at_once = RuleStage(default_rules()).run(times, rows)
    by_row = [change for now_s, row in zip(times, rows, strict=True) for change in stage.decide(now_s, row)]
    assert by_row == at_once
    assert [(change.unix_s, change.severity) for change in by_row if change.rule == rule] == expected


def test_each_threshold_set_decides_for_itself() -> None:
    rows = np.array([[row.get(name, nan) for name in Features._fields] for row in random_course("repeak", 2)])
    times = [index * STEP_S for index in range(len(rows))]
    changes = [{}, {"repeak.hold_s": 60.0, "repeak.repeat_s": 0.0}, {"repeak.raise_db": 2.0}]
    together = RuleStage(rule_set(changes)).run(times, rows)
    for index, change in enumerate(changes):
        alone = RuleStage(rule_set([change])).run(times, rows)
        mine = [one for one in together if one.set_index == index]
        assert [(one.unix_s, one.rule, one.severity) for one in mine] == [
            (one.unix_s, one.rule, one.severity) for one in alone
        ]
        assert alone


def battery(*acknowledged: Acknowledge, mains_minute: float = inf) -> list[tuple[float, str]]:
    """Seconds after the first word of the battery, and what the rule on-battery did, in an hour."""
    one, events = engine(), []
    for minute in range(61):
        for said in acknowledged:
            if at(minute - 1.0) < said.unix_s <= at(minute):
                events += one.update(said)
        source = "mains" if minute >= mains_minute else "battery"
        events += one.update(Power(unix_s=at(minute), source=source))
    return [(event.unix_s - at(0.0), event.state) for event in events if event.rule == "on-battery"]


def snoozed(minute: float, snooze_s: float | None = None) -> Acknowledge:
    return Acknowledge(unix_s=at(minute), rule="on-battery", by="night shift", snooze_s=snooze_s)


SAID = (300.0, "acknowledged")
RAISED = (40.0, "raised")  # heard at 0, known at the decision of 10 s, held for 30 s


@pytest.mark.parametrize(
    ("acknowledged", "mains_minute", "expected"),
    [
        ([], inf, [RAISED]),
        ([snoozed(5.0)], inf, [RAISED, SAID]),
        ([snoozed(5.0, 600.0)], inf, [RAISED, SAID, (900.0, "raised")]),
        (
            [snoozed(5.0, 605.0)],
            inf,
            [RAISED, SAID, (910.0, "raised")],
        ),
        (
            [snoozed(5.0, 600.0), snoozed(20.0, 1200.0)],
            inf,
            [RAISED, SAID, (900.0, "raised"), (1200.0, "acknowledged"), (2400.0, "raised")],
        ),
        (
            [snoozed(5.0, 1800.0), snoozed(10.0, 600.0)],
            inf,
            [RAISED, SAID, (600.0, "acknowledged"), (1200.0, "raised")],
        ),
        ([snoozed(5.0, 600.0), snoozed(10.0)], inf, [RAISED, SAID, (600.0, "acknowledged")]),
        ([snoozed(5.0, 3000.0)], 10.0, [RAISED, SAID, (640.0, "cleared")]),
        ([snoozed(5.0, 600.0)], 20.0, [RAISED, SAID, (900.0, "raised"), (1240.0, "cleared")]),
    ],
)  # fmt: skip
def test_a_snooze_ends_once_and_at_its_time(
    acknowledged: list[Acknowledge], mains_minute: float, expected: list[tuple[float, str]]
) -> None:
    assert battery(*acknowledged, mains_minute=mains_minute) == expected
