"""The work of one session, kept in a folder by digest, so that an interrupted tuning goes on where it was."""

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path

import numpy as np
import numpy.typing as npt
from pydantic import TypeAdapter

import agent
from agent.replay.labels import Label
from agent.replay.replaying import session_plan
from agent.replay.scoring import Interval
from agent.replay.sessions import read_session
from agent.replay.tuning.rows import Outcome, SessionRows, outcomes_of_sets, session_rows
from agent.replay.tuning.tally import Tally, tally
from agent.watch.rule_set import RuleSet

PACKAGE = Path(agent.__file__).parent
# Rows and tallies depend on this code besides the session and the rules.
ROWS_CODE = ("records.py", "job.py", "plan", "heat", "watch", "replay")
DIGEST_CHARACTERS = 24
Arrays = Mapping[str, npt.NDArray[np.generic]]


@dataclass(frozen=True, slots=True)
class Task:
    """One session folder, the sets to try on it, and the folder that keeps the results."""

    session: Path
    rules: RuleSet
    work: Path


@dataclass(frozen=True, slots=True)
class _Head:
    """What the stored rows hold besides arrays."""

    span: Interval
    labels: tuple[Label, ...]
    acknowledged: tuple[tuple[float, str, float], ...]


_HEAD = TypeAdapter(_Head)


def tallied(task: Task) -> Tally:
    """How every set does on the session; from the work folder where it is there already."""
    path = task.work / f"tally-{_digest(task.session)}-{task.rules.digest()}.npz"
    kept = _read(path)
    if kept is None:
        found = tally(_rows(task), task.rules)
        kept = {
            "delays_s": found.delays_s,
            "false_alarms": found.false_alarms,
            "span_s": np.array(found.span_s),
        }
        _write(path, kept)
    return Tally(
        delays_s=kept["delays_s"].astype(np.float64),
        false_alarms=kept["false_alarms"].astype(np.int64),
        span_s=float(kept["span_s"]),
    )


def outcomes(task: Task) -> list[list[Outcome]]:
    """What every set says on the session."""
    return outcomes_of_sets(_rows(task), task.rules)


def _rows(task: Task) -> SessionRows:
    path = task.work / f"rows-{_digest(task.session)}.npz"
    kept = _read(path)
    if kept is not None:
        head = _HEAD.validate_json(str(kept["head"]))
        return SessionRows(
            span=head.span,
            labels=head.labels,
            acknowledged=head.acknowledged,
            unix_s=kept["unix_s"].astype(np.float64),
            rows=kept["rows"].astype(np.float64),
        )
    session = read_session(task.session)
    found = session_rows(session, session_plan(session))
    head = _Head(found.span, found.labels, found.acknowledged)
    _write(path, {"head": np.array(json.dumps(asdict(head))), "unix_s": found.unix_s, "rows": found.rows})
    return found


def _digest(session: Path) -> str:
    """Of everything that the session's rows depend on: its files, the code and numpy."""
    digest = hashlib.sha256(_code_digest().encode())
    for path in sorted(session.iterdir()):
        if path.is_file():
            data = path.read_bytes()
            digest.update(f"{path.name} {len(data)}\n".encode() + data)
    return digest.hexdigest()[:DIGEST_CHARACTERS]


@cache
def _code_digest() -> str:
    digest = hashlib.sha256(np.__version__.encode())
    for name in ROWS_CODE:
        top = PACKAGE / name
        for path in sorted(top.rglob("*.py")) if top.is_dir() else [top]:
            digest.update(path.read_bytes())
    return digest.hexdigest()


def _read(path: Path) -> Arrays | None:
    if not path.exists():
        return None
    with np.load(path) as stored:
        return dict(stored)


def _write(path: Path, arrays: Arrays) -> None:
    """Put the file in place whole: whoever interrupts leaves all of it or nothing."""
    path.parent.mkdir(parents=True, exist_ok=True)
    draft = path.with_name(f".{path.stem}.{os.getpid()}.npz")
    np.savez(draft, allow_pickle=False, **arrays)
    os.replace(draft, path)
