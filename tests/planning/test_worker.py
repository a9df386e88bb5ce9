"""The processes that compute a plan: the same plan as in one, and what they say where they fail."""

import pickle
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

from agent.plan.plan_json import plan_from_json, plan_to_json
from agent.plan.span import Span, job_days
from agent.planning.compute import compute_plan
from agent.planning.store import plan_stored_at
from tests.plan.sample_job import job as sample_job


def test_two_processes_find_what_one_finds(tmp_path: Path) -> None:
    job = replace(sample_job(), terminal="two-processes")
    covered = job_days(job)
    stored = plan_stored_at(tmp_path / "plan.json", job, covered)
    assert stored == plan_from_json(plan_to_json(compute_plan(job, covered)))


def test_what_the_process_for_the_sun_dies_of_is_the_last_word() -> None:
    job = sample_job()
    backward = Span(job.day.end_unix_s, job.day.start_unix_s)
    done = subprocess.run(
        [sys.executable, "-m", "agent.planning.worker"],
        input=pickle.dumps((job, backward)),
        capture_output=True,
    )
    assert done.returncode != 0 and not done.stdout
    assert b"the end must be after the start" in done.stderr.splitlines()[-1]


def test_what_waits_to_be_loaded_works_when_it_is_asked_for() -> None:
    code = (
        "from agent.planning.later import load_later; load_later()\n"
        "import sys, types, scipy.stats as stats\n"
        "assert type(sys.modules['scipy.stats']) is not types.ModuleType\n"
        "import scipy.stats\n"
        "from scipy.optimize import bisect\n"
        "assert type(stats) is type(sys.modules['scipy.optimize']) is not types.ModuleType\n"
        "print(stats.norm.cdf(0.0), type(scipy.stats) is types.ModuleType)\n"
        "print(bisect(lambda x: x - 0.75, 0.0, 1.0), type(sys.modules['scipy.optimize']) is types.ModuleType)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["0.5", "True", "0.75", "True"]
