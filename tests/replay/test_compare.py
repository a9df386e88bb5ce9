"""What two rule sets say on the same day, by hand and by symmetry."""

from typing import NamedTuple
from zoneinfo import ZoneInfo

from hypothesis import given
from hypothesis import strategies as st

from agent.records import AlertState, Severity
from agent.replay.compare import Alert, alerts_of, compare, says_the_same
from agent.replay.compare_text import comparison_json, comparison_text
from agent.replay.labels import Label
from agent.replay.session_time import SiteClock, site_clock

NOON_UNIX_S = 1_784_376_000.0  # 2026-07-18T12:00:00Z
MIRRORED = {
    "only-first": "only-second",
    "only-second": "only-first",
    "earlier": "later",
    "later": "earlier",
    "same": "same",
}


class Event(NamedTuple):
    unix_s: float
    rule: str
    severity: Severity
    state: AlertState


def alert(
    start_s: float, end_s: float | None, rule: str = "repeak", severity: Severity = "act"
) -> list[Event]:
    """The events of one alert, seconds after noon."""
    events = [Event(NOON_UNIX_S + start_s, rule, severity, "raised")]
    if end_s is not None:
        events.append(Event(NOON_UNIX_S + end_s, rule, severity, "cleared"))
    return events


def kinds(first: list[Event], second: list[Event]) -> list[str]:
    return [one.kind for one in compare(first, second)]


def test_raised_by_one_alone_earlier_later_and_the_same() -> None:
    assert kinds(alert(0.0, 60.0), []) == ["only-first"]
    assert kinds([], alert(0.0, 60.0)) == ["only-second"]
    assert kinds(alert(30.0, 60.0), alert(0.0, 40.0)) == ["earlier"]
    assert kinds(alert(0.0, 60.0), alert(10.0, None)) == ["later"]
    assert kinds(alert(0.0, 60.0), alert(0.0, 90.0)) == ["same"]
    assert kinds([], []) == []


def test_alerts_that_do_not_overlap_are_two() -> None:
    assert kinds(alert(0.0, 60.0), alert(61.0, 90.0)) == ["only-first", "only-second"]


def test_alerts_of_different_rules_are_two() -> None:
    assert kinds(alert(0.0, 60.0), alert(0.0, 60.0, "blockage")) == ["only-second", "only-first"]


def test_one_long_alert_is_the_first_of_two_short_ones() -> None:
    long, short = alert(0.0, 600.0), alert(60.0, 120.0) + alert(300.0, 360.0)
    assert kinds(long, short) == ["later", "only-second"]
    assert kinds(short, long) == ["earlier", "only-first"]


def test_an_escalation_is_the_same_alert_at_its_gravest() -> None:
    events = [
        *alert(0.0, None, severity="advise"),
        *alert(20.0, None, severity="urgent"),
        Event(NOON_UNIX_S + 30.0, "repeak", "urgent", "acknowledged"),
        Event(NOON_UNIX_S + 90.0, "repeak", "urgent", "cleared"),
    ]
    assert alerts_of(events) == [Alert("repeak", NOON_UNIX_S, NOON_UNIX_S + 90.0, "urgent")]
    (one,) = compare(events, alert(0.0, 90.0, severity="advise"))
    assert one.kind == "same"
    assert not says_the_same(one)


ALERTS = st.lists(
    st.tuples(st.sampled_from(["repeak", "shade"]), st.integers(0, 40), st.integers(1, 9)), max_size=6
).map(
    lambda found: sorted(
        {
            event
            for rule, start, length in {(rule, 10 * (start // 10), length) for rule, start, length in found}
            for event in alert(float(start), float(start + length), rule)
        }
    )
)


@given(ALERTS, ALERTS)
def test_exchanging_the_two_mirrors_every_difference(first: list[Event], second: list[Event]) -> None:
    forth = sorted((one.rule, one.start_unix_s, MIRRORED[one.kind]) for one in compare(first, second))
    back = sorted((one.rule, one.start_unix_s, one.kind) for one in compare(second, first))
    assert forth == back


@given(ALERTS)
def test_a_day_beside_itself_does_not_differ(events: list[Event]) -> None:
    found = compare(events, events)
    assert all(says_the_same(one) for one in found)
    assert len(found) == len(alerts_of(events))


def test_told_side_by_side_in_local_time_with_what_the_labels_say() -> None:
    clock = SiteClock(ZoneInfo("Europe/Madrid"))
    labels = [Label(start_unix_s=NOON_UNIX_S, end_unix_s=NOON_UNIX_S + 600.0, cause="mispoint")]
    first = alert(120.0, 900.0) + alert(7200.0, 7260.0, "blockage")
    lines = comparison_text(compare(first, []), clock, ("old.toml", "new.toml"), labels)
    assert lines[0].split() == ["rule", "old.toml", "new.toml", "what", "the", "second", "does"]
    assert "14:02:00-14:15:00 act" in lines[1]
    assert "not raised: mispoint was labelled" in lines[1]
    assert "not raised: a false alarm by the labels" in lines[2]
    assert lines[3].strip() == "0 alerts the same"


def test_over_several_days_the_dates_are_told_too() -> None:
    clock = site_clock(NOON_UNIX_S, NOON_UNIX_S + 90_000.0, ZoneInfo("Europe/Madrid"))
    lines = comparison_text(
        compare(alert(120.0, 900.0), alert(130.0, 900.0)), clock, ("old.toml", "new.toml")
    )
    assert "2026-07-18 14:02:00 - 2026-07-18 14:15:00 act  2026-07-18 14:02:10 - " in lines[1]


def test_json_has_both_alerts_and_rfc_3339_times() -> None:
    (one,) = comparison_json(compare(alert(0.0, None), alert(10.0, 20.0, severity="urgent")))
    assert one == {
        "kind": "later",
        "rule": "repeak",
        "first": {"start": "2026-07-18T12:00:00Z", "end": None, "severity": "act"},
        "second": {"start": "2026-07-18T12:00:10Z", "end": "2026-07-18T12:00:20Z", "severity": "urgent"},
    }
