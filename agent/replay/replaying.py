"""Runs a recorded session through the alert engine, with a plan that is kept in the user's cache."""

import hashlib
import os
import sys
from pathlib import Path

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.span import Span, job_days
from agent.planning.store import plan_stored_at
from agent.records import AlertEvent, Situation
from agent.replay.sessions import Session
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import RuleSet


def replay_events(
    session: Session, plan: LinkPlan, rules: RuleSet, until_unix_s: float | None = None
) -> tuple[list[AlertEvent], Situation]:
    """The events until the session's end or an earlier moment, and what is known then.

    The engine is fed as the live agent feeds it: every reading in its order, then time.
    """
    engine = AlertEngine(session.job, plan, rules)
    end_unix_s = session.end_unix_s if until_unix_s is None else until_unix_s
    events: list[AlertEvent] = []
    for reading in session.readings:
        if until_unix_s is not None and reading.unix_s >= until_unix_s:
            break
        events += engine.update(reading)
    events += engine.advance(end_unix_s)
    return events, engine.situation()


def session_plan(session: Session) -> LinkPlan:
    """The plan that it ran with where it brings that along, else that of its job, computed once.

    It covers the whole session.
    """
    if session.plan is not None:
        return session.plan
    job = session.job
    span, times = job_days(job), session.times
    start_unix_s, end_unix_s = times.shown(session.start_unix_s), times.shown(session.end_unix_s)
    if not (span.contains(start_unix_s) and end_unix_s <= span.end_unix_s):
        span = Span(min(span.start_unix_s, start_unix_s), max(span.end_unix_s, end_unix_s))
    folder = cache_folder("plans")
    folder.mkdir(parents=True, exist_ok=True)
    return plan_stored_at(folder / f"{_job_key(job)}.plan.json", job, span)


def _job_key(job: Job) -> str:
    return hashlib.sha256(repr(job).encode()).hexdigest()[:24]


def cache_folder(name: str) -> Path:
    """The folder of this name where the platform keeps what can be computed again."""
    if sys.platform == "win32":
        base = Path(os.environ.get("LOCALAPPDATA", Path.home() / "AppData" / "Local"))
    elif sys.platform == "darwin":
        base = Path.home() / "Library" / "Caches"
    else:
        # XDG Base Directory Specification: XDG_CACHE_HOME, or ~/.cache where it is not set or empty.
        base = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    return base / "peakshade" / name
