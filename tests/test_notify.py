"""Which alerts go out to people, and when."""

from dataclasses import replace
from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest

from agent.notify import NotificationPolicy, PolicySettings, Reminders, is_quiet, title_and_body
from agent.records import ActiveAlert, AlertEvent, AlertState, Severity
from tests.watch.sample_day import HOUR_S

# 12:00 in Madrid, which is two hours ahead of UTC in July (IANA time zone database, 2026).
NOON_UNIX_S = datetime(2026, 7, 18, 10, 0, tzinfo=UTC).timestamp()
POLICY = PolicySettings(
    zone=ZoneInfo("Europe/Madrid"),
    min_severity="act",
    quiet=(time(22, 0), time(6, 0)),
    quiet_severity="urgent",
    repeat_s=1800.0,
    cleared=False,
)


def alert(
    rule: str = "shade", severity: Severity = "act", state: AlertState = "raised", unix_s: float = NOON_UNIX_S
) -> AlertEvent:
    """An alert with few words."""
    return AlertEvent(
        unix_s=unix_s,
        rule=rule,
        severity=severity,
        state=state,
        cause="overheat",
        action="put the cover on",
        evidence=("two hours of sun",),
        figures={},
    )


def out(policy: NotificationPolicy, unix_s: float, *events: AlertEvent) -> list[tuple[str, str]]:
    """Rule and state of what goes out at this time after these events."""
    policy.hear(events)
    return [(one.rule, one.state) for one in policy.due(unix_s)]


@pytest.mark.parametrize(("severity", "count"), [("advise", 0), ("act", 1), ("urgent", 1)])
def test_only_what_is_grave_enough_goes_out(severity: Severity, count: int) -> None:
    assert len(out(NotificationPolicy(POLICY), NOON_UNIX_S, alert(severity=severity))) == count


def test_an_event_goes_out_once_even_after_a_restart() -> None:
    policy = NotificationPolicy(POLICY)
    assert out(policy, NOON_UNIX_S, alert()) == [("shade", "raised")]
    assert out(policy, NOON_UNIX_S, alert()) == []
    again = NotificationPolicy(POLICY)
    again.restore(policy.as_json())
    assert out(again, NOON_UNIX_S + 24 * HOUR_S, alert()) == []


def test_a_rule_that_flaps_is_not_repeated_unless_it_gets_graver() -> None:
    policy = NotificationPolicy(POLICY)
    out(policy, NOON_UNIX_S, alert())
    minute_later = alert(unix_s=NOON_UNIX_S + 60.0)
    assert out(policy, NOON_UNIX_S + 60.0, minute_later) == []
    graver = replace(minute_later, severity="urgent", unix_s=NOON_UNIX_S + 120.0)
    assert out(policy, NOON_UNIX_S + 120.0, graver) == [("shade", "raised")]
    assert out(policy, NOON_UNIX_S + 200.0, alert("repeak", unix_s=NOON_UNIX_S + 200.0)) == [
        ("repeak", "raised")
    ]
    much_later = replace(minute_later, unix_s=NOON_UNIX_S + HOUR_S)
    assert out(policy, NOON_UNIX_S + HOUR_S, much_later) == [("shade", "raised")]


@pytest.mark.parametrize(
    ("hour", "quiet"), [(21.99, False), (22.0, True), (0.0, True), (5.99, True), (6.0, False)]
)
def test_quiet_hours_are_those_of_the_site_and_span_midnight(hour: float, quiet: bool) -> None:
    assert is_quiet(POLICY, NOON_UNIX_S + (hour - 12.0) * HOUR_S) == quiet


def test_quiet_hours_end_where_the_clocks_are_changed() -> None:
    """On 2026-10-25 Madrid's clocks go back at 03:00 (Directive 2000/84/EC): 06:00 is 05:00 UTC then."""
    end_unix_s = datetime(2026, 10, 25, 5, 0, tzinfo=UTC).timestamp()
    assert is_quiet(POLICY, end_unix_s - 1.0)
    assert not is_quiet(POLICY, end_unix_s)


def test_in_quiet_hours_only_the_urgent_goes_out_and_the_rest_later() -> None:
    policy = NotificationPolicy(POLICY)
    night = NOON_UNIX_S + 12 * HOUR_S
    assert out(policy, night, alert(unix_s=night), alert("on-battery", "urgent", unix_s=night)) == [
        ("on-battery", "raised")
    ]
    assert out(policy, night + 5.9 * HOUR_S) == []
    assert out(policy, night + 6.0 * HOUR_S) == [("shade", "raised")]


@pytest.mark.parametrize("state", ["cleared", "acknowledged"])
def test_what_is_over_by_the_morning_does_not_go_out(state: AlertState) -> None:
    policy = NotificationPolicy(POLICY)
    night = NOON_UNIX_S + 12 * HOUR_S
    out(policy, night, alert(unix_s=night), alert(state=state, unix_s=night + 60.0))
    assert out(policy, night + 7 * HOUR_S) == []


def test_what_waits_for_the_morning_outlasts_a_restart() -> None:
    """The agent says standing alerts again when it starts."""
    policy = NotificationPolicy(POLICY)
    night = NOON_UNIX_S + 12 * HOUR_S
    out(policy, night, alert(unix_s=night))
    again = NotificationPolicy(POLICY)
    again.restore(policy.as_json())
    assert out(again, night + 7 * HOUR_S, alert(unix_s=night)) == [("shade", "raised")]


def test_the_end_is_told_where_it_is_wanted_and_the_beginning_was_told() -> None:
    policy = NotificationPolicy(replace(POLICY, cleared=True))
    over = alert(state="cleared", unix_s=NOON_UNIX_S + 60.0)
    assert out(policy, NOON_UNIX_S, over) == []
    out(policy, NOON_UNIX_S, alert())
    later = replace(over, unix_s=NOON_UNIX_S + 90.0)
    assert out(policy, NOON_UNIX_S + 90.0, later) == [("shade", "cleared")]


def test_nothing_at_night_where_so_wished() -> None:
    policy = NotificationPolicy(replace(POLICY, quiet_severity=None))
    night = NOON_UNIX_S + 12 * HOUR_S
    assert out(policy, night, alert(severity="urgent", unix_s=night)) == []


def test_the_memory_stays_small() -> None:
    policy = NotificationPolicy(POLICY)
    for number in range(2000):
        policy.hear([alert(unix_s=NOON_UNIX_S + number)])
    assert len(policy.known) == 500


@pytest.mark.parametrize("tree", [{}, {"known": 1, "sent": {}}, {"known": [], "sent": {"shade": [1]}}])
def test_a_damaged_memory_is_told(tree: dict[str, object]) -> None:
    with pytest.raises(ValueError, match="expected"):
        NotificationPolicy(POLICY).restore(tree)  # type: ignore[arg-type]


def test_words_for_a_small_screen() -> None:
    title, body = title_and_body("van-1", alert())
    assert title == "van-1: Shade the unit (act)"
    assert body == "put the cover on\ntwo hours of sun"


EVERY = {"act": 300.0, "urgent": 120.0}


def standing(event: AlertEvent, acknowledged: bool = False) -> ActiveAlert:
    """An alert that stands since an hour before its last change."""
    return ActiveAlert(since_unix_s=event.unix_s - HOUR_S, event=event, acknowledged=acknowledged)


@pytest.mark.parametrize(("severity", "every_s"), [("advise", 0), ("act", 300), ("urgent", 120)])
def test_what_nobody_has_seen_is_said_again(severity: Severity, every_s: int) -> None:
    """Every second of 24 minutes is asked: nothing before its time, and all with the alert's own time."""
    reminders, event = Reminders(EVERY), alert(severity=severity)
    said = {second: reminders.due([standing(event)], NOON_UNIX_S + second) for second in range(1, 1441)}
    due = {second: [replace(event, state="reminder")] for second in range(every_s, 1441, every_s or 1441)}
    assert {second: events for second, events in said.items() if events} == (due if every_s else {})


def test_what_was_seen_is_not_said_again_until_it_is_raised_anew() -> None:
    reminders = Reminders(EVERY)
    seen = standing(alert(state="acknowledged"), acknowledged=True)
    assert reminders.due([seen], NOON_UNIX_S + HOUR_S) == []
    again = standing(alert(unix_s=NOON_UNIX_S + HOUR_S))
    assert reminders.due([again], NOON_UNIX_S + HOUR_S + 299.0) == []
    assert len(reminders.due([again], NOON_UNIX_S + HOUR_S + 300.0)) == 1


def test_zero_says_nothing_again() -> None:
    assert Reminders({"act": 0.0}).due([standing(alert())], NOON_UNIX_S + HOUR_S) == []


def test_a_reminder_goes_out_as_often_as_it_comes_except_in_quiet_hours() -> None:
    policy = NotificationPolicy(POLICY)
    assert out(policy, NOON_UNIX_S, alert()) == [("shade", "raised")]
    for minutes in (5.0, 10.0):
        at_unix_s = NOON_UNIX_S + 60.0 * minutes
        assert out(policy, at_unix_s, alert(state="reminder")) == [("shade", "reminder")]
    assert out(policy, NOON_UNIX_S + 11.0 * HOUR_S, alert(state="reminder")) == []
    title, _ = title_and_body("van-1", alert(state="reminder"))
    assert title == "van-1: Shade the unit (act), not seen yet"
