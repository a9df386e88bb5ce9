"""Bundled days reviewed with an invented plan, so that no plan has to be computed."""

from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from math import ceil, floor, pi, sin

from agent.link_plan import Budget, HeatOutlook, LinkPlan, Safety, Sunshine
from agent.replay.sessions import BUNDLED, Session, read_session
from agent.report.course import course_and_events
from agent.report.review import Review, review
from agent.watch.rule_set import default_rules
from tests.watch.sample_day import filled
from tests.watch.sample_day import plan as sample_plan

DOWN_NEEDED_DB = 12.0
UP_NEEDED_DB = 9.5
DAY_S = 86_400.0
STEP_S = 300.0
CAUTION = "A caution of the sample plan."


def invented_plan(session: Session) -> LinkPlan:
    """The sample plan with its sun over the days of this session, and with what the rates need."""
    base = sample_plan()
    down: Budget = replace(base.downlink, required_esno_db=DOWN_NEEDED_DB)
    up: Budget = replace(base.uplink, required_esno_db=UP_NEEDED_DB)
    return replace(
        base,
        downlink=down,
        uplink=up,
        heat=filled(HeatOutlook, sunshine=invented_sunshine(session)),
        safety=filled(Safety, cautions=(CAUTION,)),
    )


def invented_sunshine(session: Session) -> Sunshine:
    """A half sine from 06:00 to 19:00 UTC on every day that the session touches."""
    start = floor(session.start_unix_s / DAY_S) * DAY_S
    count = ceil((session.end_unix_s - start) / STEP_S) + 2
    hours = [(index * STEP_S % DAY_S) / 3600.0 for index in range(count)]
    total = [950.0 * max(0.0, sin(pi * (hour - 6.0) / 13.0)) for hour in hours]
    return Sunshine(
        start_unix_s=start,
        step_s=STEP_S,
        direct_normal_w_m2=tuple(800.0 if value > 50.0 else 0.0 for value in total),
        global_horizontal_w_m2=tuple(total),
    )


@cache
def bundled_session(name: str) -> Session:
    """The bundled session of this name."""
    return read_session(BUNDLED / name)


@cache
def bundled_review(name: str) -> Review:
    """Its review."""
    return reviewed(name, bundled_session(name))


def reviewed(name: str, session: Session) -> Review:
    """The review of a session with the invented plan."""
    plan = invented_plan(session)
    course, events = course_and_events(
        session.readings, session.job, plan, default_rules(), session.end_unix_s
    )
    return review(name, session, plan, course, events)


def cut(session: Session, count: int) -> Session:
    """The first readings of a session."""
    readings: Sequence = session.readings[:count]  # type: ignore[type-arg]
    return replace(session, readings=readings, end_unix_s=readings[-1].unix_s)
