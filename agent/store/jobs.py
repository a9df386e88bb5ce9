"""Which terminals a store has, and the job of each as the agent last knew it."""

import json

from pydantic import TypeAdapter

from agent.errors import UsageError
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_from_json
from agent.store.questions import Connection

_JOB = TypeAdapter(Job)


def chosen_terminal(connection: Connection, path: object, asked: str | None) -> str:
    """The terminal that was asked for, or the store's only one; raises UsageError with those it has."""
    known = [str(name) for (name,) in connection.execute("SELECT terminal FROM plan ORDER BY terminal")]
    names = ", ".join(known) or "none"
    if asked is not None and asked not in known:
        raise UsageError(f"store {path}: has no plan of terminal {asked!r}; it has those of: {names}")
    if asked is None and len(known) != 1:
        raise UsageError(f"store {path}: name one terminal with --terminal; it has the plans of: {names}")
    return asked or known[0]


def stored_job(connection: Connection, terminal: str) -> Job:
    """The job of a terminal that the store has."""
    (text,) = connection.execute("SELECT job FROM plan WHERE terminal = ?", (terminal,)).fetchone()
    return _JOB.validate_json(text)


def stored_plan(connection: Connection, terminal: str) -> LinkPlan | None:
    """The plan that the agent of a terminal runs with; None where another version has stored it."""
    (text,) = connection.execute("SELECT body FROM plan WHERE terminal = ?", (terminal,)).fetchone()
    try:
        return plan_from_json(json.loads(text))
    except ValueError:
        return None
