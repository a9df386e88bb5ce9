"""What other numbers of the rules would have said on recorded days.

Everything is computed from recorded sessions; nothing of it reaches the agent that runs.
"""

import re
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from agent.errors import UsageError
from agent.replay.compare import Alert as Alert
from agent.replay.compare import Difference, alerts_of, compare
from agent.replay.replaying import cache_folder
from agent.replay.rules_file import read_rules
from agent.replay.sessions import (
    BUNDLED,
    LABELS_STEM,
    SESSION_FILE,
    SessionHead,
    labelled_folders,
    read_head,
)
from agent.replay.tuning.bench import Bench
from agent.replay.tuning.choice import Figures, figures
from agent.replay.tuning.proposal import propose, rules_toml, words
from agent.replay.tuning.sets import Changes, sets_around
from agent.replay.tuning.tally import Tally
from agent.replay.tuning.workers import in_turn
from agent.watch.rule_set import RuleSet
from agent.watch.rules import BY_NAME
from dashboard.site_time import date_text

# Enough to see where the curve bends; two dozen sets over a day take a tenth of a second.
SWEPT = 16
# A rules file has a few lines a rule.
MAX_RULES_BYTES = 100_000
FILE_NAME = re.compile(r"[\w-][\w.-]*\.toml", re.ASCII)
# Two viewers who ask for the same day would write the same file of the work folder.
_ONE_AT_A_TIME = threading.Lock()


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """Which days, against which rules (None: the defaults), what is changed, and which number is swept."""

    folders: tuple[Path, ...]
    rules: Path | None
    changes: Changes
    parameter: str


@dataclass(frozen=True, slots=True, kw_only=True)
class DayCompared:
    """One day: the alerts of the present rules and of the changed ones, and how they differ."""

    name: str
    head: SessionHead
    present: tuple[Alert, ...]
    tried: tuple[Alert, ...]
    differences: tuple[Difference, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TuningData:
    """`sweep` is what each value of the swept number does, all other changes kept, in order of value."""

    question: Question
    present: Figures
    tried: Figures
    days: tuple[DayCompared, ...]
    sweep: tuple[tuple[float, Figures], ...]


def bundled_days() -> dict[str, str]:
    """Name and title of every bundled session that has labels."""
    folders = sorted(path.parent for path in BUNDLED.glob(f"*/{LABELS_STEM}.csv*"))
    return {folder.name: read_head(folder).title for folder in folders}


def own_days(root: Path) -> dict[str, str]:
    """Path in the job's folder `root` and date and title of every session there, the newest first."""
    folders = [path.parent for depth in ("*", "*/*") for path in root.glob(f"{depth}/{SESSION_FILE}")]
    own = [folder for folder in folders if not _inside(folder, BUNDLED)]
    found = sorted(((*_title(folder, root), folder) for folder in own), reverse=True)
    return {folder.relative_to(root).as_posix(): title for _unix_s, title, folder in found}


def _title(folder: Path, root: Path) -> tuple[float, str]:
    """Start and title; a session that cannot be read says why once it is chosen."""
    try:
        head = read_head(_checked(folder, root))
    except UsageError:
        return 0.0, folder.name
    return head.start_unix_s, f"{date_text(head.start_unix_s, head.zone)} {head.title}"


def own_rules(root: Path, in_force: Path | None) -> dict[str, str]:
    """File name and name of every rules file in the job's folder `root` but the one in force."""
    others = (path for path in sorted(root.glob("*.toml")) if path != in_force)
    return {path.name: path.stem for path in others if _is_rules(path, root)}


def _is_rules(path: Path, root: Path) -> bool:
    """A config lies there too."""
    try:
        read_rules(asked_rules(path.name, root, None))
    except UsageError:
        return False
    return True


def asked_days(names: Sequence[str], root: Path) -> tuple[Path, ...]:
    """The folders of bundled sessions by their names and of those in the job's folder `root` by their paths.

    UsageError for none, one elsewhere, or one without labels.
    """
    if not names:
        raise UsageError("no day is chosen; tick one")
    chosen = [BUNDLED / name if (BUNDLED / name).is_dir() else root / name for name in names]
    return tuple(labelled_folders([str(_checked(path, root)) for path in chosen]))


def _checked(path: Path, root: Path) -> Path:
    """The session's folder; UsageError for one elsewhere, also where links point elsewhere."""
    if not path.is_dir() or not (_inside(path, BUNDLED) or _inside(path, root)):
        raise UsageError(f"{path}: is no folder inside {root}; put the session there")
    for one in path.iterdir():
        if not one.is_file() or not _inside(one, path):
            raise UsageError(f"{one}: is no file of that folder; copy the session's own files there")
    return path


def asked_rules(name: str, root: Path, in_force: Path | None) -> Path | None:
    """The rules file of that name in the job's folder, or the one in force; UsageError for any other."""
    path = root / name
    if not name or path == in_force:
        return in_force
    if not _inside(path, root) or not path.is_file() or path.stat().st_size > MAX_RULES_BYTES:
        raise UsageError(f"{path}: is no rules file inside {root}; put it there")
    return path


def _inside(path: Path, folder: Path) -> bool:
    """Also where links point elsewhere."""
    return path.resolve().is_relative_to(folder.resolve())


def present_value(rules: Path | None, name: str) -> float:
    """The number `name` in the rules in force."""
    return float(read_rules(rules).values[name][0])


def tuning_data(question: Question) -> TuningData:
    """The answer; the first look at a day takes some seconds, the next ones a fraction of one."""
    with _ONE_AT_A_TIME:
        present, bench = read_rules(question.rules), _bench(question)
        both = sets_around(present, [question.changes])
        tallies, outcomes = bench.tallies(both), bench.outcomes(both)
        swept = _swept(bench, present, question)
    days = [
        DayCompared(
            name=folder.name,
            head=read_head(folder),
            present=tuple(alerts_of(before)),
            tried=tuple(alerts_of(after)),
            differences=tuple(compare(before, after)),
        )
        for folder, (before, after) in zip(question.folders, outcomes, strict=True)
    ]
    return TuningData(
        question=question,
        present=_sum(tallies, 0),
        tried=_sum(tallies, 1),
        days=tuple(days),
        sweep=swept,
    )


def _bench(question: Question) -> Bench:
    return Bench(question.folders, in_turn, cache_folder("tuning"))


def _swept(bench: Bench, present: RuleSet, question: Question) -> tuple[tuple[float, Figures], ...]:
    parameter = BY_NAME[question.parameter]
    values = [float(f"{value:.3g}") for value in np.linspace(parameter.low, parameter.high, SWEPT).tolist()]
    # Most of a wide range is far from any use: the neighbourhood of the present value is swept as well.
    here = float(present.values[parameter.name][0])
    near = [float(f"{here * factor:.3g}") for factor in (0.5, 0.7, 0.85, 1.2, 1.5, 2.0)]
    values = sorted({*values, here, *(one for one in near if parameter.low <= one <= parameter.high)})
    rules = sets_around(present, [{**question.changes, parameter.name: value} for value in values])
    tallies = bench.tallies(rules)
    return tuple((value, _sum(tallies, number)) for number, value in enumerate(values, start=1))


def _sum(tallies: Sequence[Tally], number: int) -> Figures:
    return figures([(one, number) for one in tallies])


def accept(question: Question, folder: Path, name: str) -> Path:
    """Write the changed rules as a new file; UsageError where there is nothing to write or it exists."""
    if not FILE_NAME.fullmatch(name):
        raise UsageError(f"{name!r} is no file name for rules; expected letters, digits, - and _, then .toml")
    if not question.changes:
        raise UsageError("nothing differs from the rules in force; move a number first")
    with _ONE_AT_A_TIME:
        present = read_rules(question.rules)
        proposal = propose(_bench(question), present, question.changes)
    heading = [
        "Accepted on the tuning page; nothing uses it until a person puts it into the config as `rules`.",
        f"Compared on: {', '.join(one.name for one in question.folders)}.",
        f"Rules in force then: {words(proposal.present)}.",
        f"These rules: {words(proposal.proposed)}.",
        "CAUTION: chosen by eye on the very days it is judged by; try it on days left out.",
    ]
    path = folder / name
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(rules_toml(present, proposal, heading))
    except FileExistsError:
        raise UsageError(
            f"{path}: exists already, and rules are not overwritten; choose another name"
        ) from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be written ({error.strerror}); choose another folder") from None
    return path


def checked_changes(changes: Mapping[str, float], rules: Path | None) -> dict[str, float]:
    """The changes that are within range and differ from the rules in force."""
    present = read_rules(rules)
    return {
        name: float(value)
        for name, value in changes.items()
        if name in BY_NAME
        and BY_NAME[name].low <= value <= BY_NAME[name].high
        and value != float(present.values[name][0])
    }
