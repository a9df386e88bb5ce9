"""The link plan on disk, beside the config: computed once in a process of its own, then read.

This module is light: the service and the commands use it without the libraries that compute the plan.
"""

import hashlib
import json
import logging
import os
import pickle
import subprocess
import sys
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from functools import cache
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

import agent
from agent.config import Config
from agent.errors import UsageError
from agent.extras import install_line
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_from_json, plan_to_json
from agent.plan.span import Span, job_days
from agent.records import JsonValue

LOG = logging.getLogger(__name__)
PACKAGE = Path(agent.__file__).parent
# A plan depends on these besides its job.
COMPUTING_MODULES = ("plan", "heat", "planning/link_part", "planning/sun_part", "link_plan", "job")
COMPUTING_LIBRARIES = ("itur", "numpy", "pvlib", "pygeomag")
# A cold plan takes seconds; a computer that needs this long has stopped.
LONGEST_COMPUTATION_S = 120.0


class PlanError(UsageError):
    """The plan's process failed; the message holds what it wrote last."""


def load_or_compute_plan(config_path: Path, config: Config, span: Span | None = None) -> LinkPlan:
    """The plan for a span (by default the job's days): the stored one where its inputs are the same.

    Otherwise it is computed, which takes seconds and blocks, and stored beside the config. Raises PlanError
    where that fails, UsageError where the libraries for it are not installed.
    """
    covered = span or job_days(config.job)
    return plan_stored_at(plan_path(config_path, config.job, covered), config.job, covered)


def plan_stored_at(stored_path: Path, job: Job, covered: Span) -> LinkPlan:
    """Like `load_or_compute_plan`, with the file named: for jobs whose folder is not to be written to.

    A computer that cannot compute takes one that another computer or version has computed.
    """
    lacking = [name for name in COMPUTING_LIBRARIES if find_spec(name) is None]
    kept = _kept(stored_path, job, covered)
    if kept is not None and (lacking or kept.code == _code_digest()):
        return kept.plan
    if lacking:
        raise PlanError(
            f"the plan of terminal {job.terminal} cannot be computed here, which needs {', '.join(lacking)};"
            f" {install_line(lacking[0])}, or copy {stored_path} from a computer that has computed it"
        )
    tree = _computed(job, covered)
    _store(stored_path, _content(job, tree, _code_digest()))
    return plan_from_json(tree)


def kept_plan(path: Path, job: Job, covered: Span) -> LinkPlan | None:
    """The plan in a file, valid while it is of this job and covers this span; None where it is not."""
    kept = _kept(path, job, covered)
    return None if kept is None else kept.plan


def covers(plan: LinkPlan, span: Span) -> bool:
    """Whether the plan says something of the whole span."""
    return plan.start_unix_s <= span.start_unix_s and span.end_unix_s <= plan.end_unix_s


def plan_file_text(job: Job, plan: LinkPlan) -> str:
    """The file that `kept_plan` reads on any computer."""
    return json.dumps(_content(job, plan_to_json(plan), None))


def plan_path(config_path: Path, job: Job, span: Span) -> Path:
    """Where the plan of this span is stored: beside the config, by the span's first day at the site."""
    first = datetime.fromtimestamp(span.start_unix_s, UTC).astimezone(ZoneInfo(job.site.time_zone))
    return config_path.parent / f"{config_path.stem}.{first:%Y-%m-%d}.plan.json"


def job_digest(job: Job) -> str:
    """A digest of all that the config says of the job and the plan depends on."""
    tree = asdict(job)
    del tree["service"]["allowance_gb"]
    return hashlib.sha256(json.dumps(tree, sort_keys=True).encode()).hexdigest()


@cache
def _code_digest() -> str:
    digest = hashlib.sha256()
    for name in COMPUTING_MODULES:
        for path in sorted([*PACKAGE.glob(f"{name}.py"), *PACKAGE.glob(f"{name}/**/*.py")]):
            digest.update(path.read_bytes())
    for library in COMPUTING_LIBRARIES:
        digest.update(f"{library} {version(library)}\n".encode())
    return digest.hexdigest()


@dataclass(frozen=True, slots=True)
class _Kept:
    plan: LinkPlan
    code: JsonValue


def _content(job: Job, tree: JsonValue, code: str | None) -> dict[str, JsonValue]:
    return {"job": job_digest(job), "code": code, "plan": tree}


def _kept(path: Path, job: Job, covered: Span) -> _Kept | None:
    """What the file holds where it is of this job and span; None for no file, another's, or half a file."""
    try:
        content = json.loads(path.read_text(encoding="utf-8"))
        if not isinstance(content, dict):
            raise ValueError("it is no JSON object")
        if content.get("job") != job_digest(job):
            return None
        plan = plan_from_json(content.get("plan"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:
        LOG.warning("%s holds no plan (%s)", path, error)
        return None
    whole = covers(plan, covered)
    return _Kept(plan, content.get("code")) if whole else None


def _computed(job: Job, span: Span) -> JsonValue:
    search = os.pathsep.join(filter(None, (str(PACKAGE.parent), os.environ.get("PYTHONPATH"))))
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "agent.planning.worker"],
            input=pickle.dumps((job, span)),
            capture_output=True,
            timeout=LONGEST_COMPUTATION_S,
            env={**os.environ, "PYTHONPATH": search},
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired) as error:
        raise _plan_error(job, str(error)) from None
    if done.returncode != 0:
        last = _last_line(done.stderr.decode(errors="replace"))
        raise _plan_error(job, f"its process ended with {done.returncode}: {last}")
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
