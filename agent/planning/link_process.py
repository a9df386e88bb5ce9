"""The process for the link: it asks the process for the sun, and writes the whole plan to stdout."""

import json
import pickle
import subprocess
import sys
from collections.abc import Callable

from agent.job import Job
from agent.plan.plan_json import plan_to_json
from agent.plan.span import Span
from agent.plan.sun_noise import BeamNoise
from agent.planning.link_part import link_plan
from agent.planning.sun_answer import SunAnswer


def answer(job: Job, span: Span, sun: "subprocess.Popen[bytes]") -> None:
    """Write the plan; `sun` has been told of job and span."""

    def ask_sun(beam: BeamNoise) -> Callable[[], SunAnswer]:
        if sun.stdin is None:
            raise ValueError("the process for the sun was started without its input")
        try:
            pickle.dump(beam, sun.stdin)
        except BrokenPipeError:
            sys.exit(sun.wait())
        return lambda: _answer(sun)

    json.dump(plan_to_json(link_plan(job, span, ask_sun)), sys.stdout)


def _answer(sun: "subprocess.Popen[bytes]") -> SunAnswer:
    """What the process for the sun found; where it failed, its own last words are the reason of this one."""
    written, _ = sun.communicate()
    if sun.returncode != 0:
        sys.exit(sun.returncode)
    found: SunAnswer = pickle.loads(written)
    return found
