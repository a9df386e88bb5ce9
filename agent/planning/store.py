"""The link plan on disk, beside the config: computed once in a process of its own, then read.

This module is light: the service and the commands use it without the libraries that compute the plan.
"""

import hashlib
import json
import logging
import os
import subprocess
import sys
from dataclasses import asdict
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from pathlib import Path
from zoneinfo import ZoneInfo

import agent
from agent.config import Config
from agent.errors import UsageError
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_from_json
from agent.plan.span import Span, job_days
from agent.records import JsonValue

LOG = logging.getLogger(__name__)
PACKAGE = Path(agent.__file__).parent
# A plan depends on these besides its job.
COMPUTING_MODULES = ("plan", "heat", "planning/compute", "link_plan", "job")
COMPUTING_LIBRARIES = ("itur", "numpy", "pvlib", "pygeomag")
# A cold plan takes seconds; a computer that needs this long has stopped.
LONGEST_COMPUTATION_S = 120.0


class PlanError(UsageError):
    """The plan's process failed; the message holds what it wrote last."""


def load_or_compute_plan(config_path: Path, config: Config, span: Span | None = None) -> LinkPlan:
    """The plan for a span (by default the job's days): the stored one where its inputs are the same.

    Otherwise it is computed, which takes seconds and blocks, and stored beside the config. Raises PlanError
    where that fails.
    """
    covered = span or job_days(config.job)
    return plan_stored_at(plan_path(config_path, config.job, covered), config.job, covered)


def plan_stored_at(stored_path: Path, job: Job, covered: Span) -> LinkPlan:
    """Like `load_or_compute_plan`, with the file named: for jobs whose folder is not to be written to."""
    digest = plan_digest(job, covered)
    tree = _stored(stored_path, digest)
    if tree is not None:
        try:
            return plan_from_json(tree)
        except ValueError as error:
            LOG.warning("%s is no plan (%s); computing it again", stored_path, error)
    tree = _computed(job, covered)
    _store(stored_path, {"digest": digest, "plan": tree})
    return plan_from_json(tree)


def plan_path(config_path: Path, job: Job, span: Span) -> Path:
    """Where the plan of this span is stored: beside the config, by the span's first day at the site."""
    first = datetime.fromtimestamp(span.start_unix_s, UTC).astimezone(ZoneInfo(job.site.time_zone))
    return config_path.parent / f"{config_path.stem}.{first:%Y-%m-%d}.plan.json"


def plan_digest(job: Job, span: Span) -> str:
    """A digest of everything a plan depends on: job, span, code and libraries."""
    inputs = json.dumps({"job": asdict(job), "span": asdict(span), "code": _code_digest()}, sort_keys=True)
    return hashlib.sha256(inputs.encode()).hexdigest()


@cache
def _code_digest() -> str:
    digest = hashlib.sha256()
    for name in COMPUTING_MODULES:
        for path in sorted([*PACKAGE.glob(f"{name}.py"), *PACKAGE.glob(f"{name}/**/*.py")]):
            digest.update(path.read_bytes())
    for library in COMPUTING_LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()


def _stored(path: Path, digest: str) -> JsonValue:
    """The plan in the file where it has this digest; None for no file, another digest, or half a file."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        LOG.warning("%s cannot be read (%s); computing the plan again", path, error)
        return None
    if not isinstance(content, dict) or content.get("digest") != digest:
        return None
    plan: JsonValue = content.get("plan")
    return plan


def _computed(job: Job, span: Span) -> JsonValue:
    request = json.dumps({"job": asdict(job), "span": asdict(span)})
    search = os.pathsep.join(filter(None, (str(PACKAGE.parent), os.environ.get("PYTHONPATH"))))
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "agent.planning.worker"],
            input=request,
            capture_output=True,
            text=True,
            timeout=LONGEST_COMPUTATION_S,
            env={**os.environ, "PYTHONPATH": search},
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise _plan_error(job, str(error)) from None
    if done.returncode != 0:
        raise _plan_error(job, f"its process ended with {done.returncode}: {_last_line(done.stderr)}")
    plan: JsonValue = json.loads(done.stdout)
    return plan


def _plan_error(job: Job, why: str) -> PlanError:
    return PlanError(
        f"the plan of terminal {job.terminal} could not be computed ({why}); check the installation with"
        " peakshade check, and whether memory or disk is full"
    )


def _last_line(text: str) -> str:
    """Of a traceback this is the error itself."""
    return next((line.strip() for line in reversed(text.splitlines()) if line.strip()), "without a word")


def _store(path: Path, content: dict[str, JsonValue]) -> None:
    """Put the file in place whole; a folder that cannot be written costs only the next computation."""
    draft = path.with_name(f"{path.name}.{os.getpid()}.tmp")
    try:
        draft.touch(mode=0o600)
        draft.write_text(json.dumps(content), encoding="utf-8")
        os.replace(draft, path)
    except OSError as error:
        LOG.warning("the plan is not kept: %s", error)
