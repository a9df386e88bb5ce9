"""Computes one plan in a process of its own: the job and span as JSON on stdin, the plan as JSON on stdout.

`agent.planning.store` starts it, so that the libraries that take part never enter the agent's own process.
"""

import json
import sys

from pydantic import TypeAdapter

from agent.job import Job
from agent.plan.plan_json import plan_to_json
from agent.plan.span import Span
from agent.planning.compute import compute_plan


def main() -> None:
    """Answer the one request that stands on stdin."""
    request = json.load(sys.stdin)
    job = TypeAdapter(Job).validate_python(request["job"])
    span = TypeAdapter(Span).validate_python(request["span"])
    json.dump(plan_to_json(compute_plan(job, span)), sys.stdout)


if __name__ == "__main__":
    main()
