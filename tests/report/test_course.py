"""The engine's minutes of a day."""

from agent.replay.replaying import replay_events
from agent.report.course import course_and_events
from agent.watch.rule_set import default_rules
from tests.report.days import bundled_session, invented_plan


def test_looking_each_minute_changes_no_event() -> None:
    session = bundled_session("salt-pan-summer")
    plan, rules = invented_plan(session), default_rules()
    course, events = course_and_events(session.readings, session.job, plan, rules, session.end_unix_s)
    assert events == replay_events(session, plan, rules)[0]
    assert {event.state for event in events} >= {"raised", "cleared"}
    assert course.unix_s == tuple(
        session.start_unix_s + 60.0 * index
        for index in range(int((session.end_unix_s - session.start_unix_s) // 60.0) + 1)
    )


def test_a_figure_that_was_not_known_is_nan() -> None:
    session = bundled_session("quiet-poor-sensors")
    plan = invented_plan(session)
    course, _ = course_and_events(session.readings, session.job, plan, default_rules(), session.end_unix_s)
    uplink = course.line("uplink_esno_db")
    assert len(uplink) == len(course.unix_s)
    assert all(value != value for value in uplink)
