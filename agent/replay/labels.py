"""What really happened on a recorded day: one label an episode, and the `labels.csv` that holds them."""

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import get_args

from agent.errors import UsageError
from agent.records import Cause
from agent.replay.session_time import rfc3339_from_unix_s, unix_s_from_cell
from agent.replay.spreadsheet import csv_of, guarded, unguarded

# "none" is an answer of the engine, never a label.
LABEL_CAUSES: tuple[Cause, ...] = tuple(cause for cause in get_args(Cause) if cause != "none")
COLUMNS = ("start", "end", "cause", "comment")


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """One episode: from when it hurts until it is mended or over."""

    start_unix_s: float
    end_unix_s: float
    cause: Cause
    comment: str = ""


def labels_from_csv(text: str, name: str) -> tuple[Label, ...]:
    """The labels in time order; raises UsageError naming file and line. `name` stands in the messages."""
    reader = csv.DictReader(io.StringIO(text, newline=""), restval="")
    missing = [column for column in COLUMNS[:3] if column not in (reader.fieldnames or ())]
    if missing:
        raise UsageError(
            f"{name}, line 1: column {missing[0]} is missing; the columns are {','.join(COLUMNS)}"
            " (a day without trouble has this line alone)"
        )
    labels = [_label(row, f"{name}, line {reader.line_num}") for row in reader]
    return tuple(sorted(labels, key=lambda label: label.start_unix_s))


def _label(row: dict[str, str], where: str) -> Label:
    times = {}
    for column in ("start", "end"):
        time_unix_s = unix_s_from_cell(row[column])
        if time_unix_s is None:
            raise UsageError(
                f"{where}: {column} is {row[column]!r}; expected a time such as 2026-07-18T09:00:00Z"
                " or Unix seconds"
            )
        times[column] = time_unix_s
    cause = next((known for known in LABEL_CAUSES if known == row["cause"]), None)
    if cause is None:
        raise UsageError(f"{where}: cause is {row['cause']!r}; expected one of {', '.join(LABEL_CAUSES)}")
    if times["end"] < times["start"]:
        raise UsageError(f"{where}: the episode ends before it starts; exchange start and end")
    return Label(
        start_unix_s=times["start"],
        end_unix_s=times["end"],
        cause=cause,
        comment=unguarded(row.get("comment", "")),
    )


def moved(labels: Sequence[Label], move: Callable[[float], float]) -> tuple[Label, ...]:
    """The labels by another clock."""
    return tuple(
        replace(one, start_unix_s=move(one.start_unix_s), end_unix_s=move(one.end_unix_s)) for one in labels
    )


def labels_to_csv(labels: Sequence[Label]) -> str:
    """The text of `labels.csv`, in time order."""
    ordered = sorted(labels, key=lambda label: label.start_unix_s)
    return csv_of([COLUMNS, *map(_row, ordered)])


def _row(label: Label) -> tuple[str, ...]:
    start, end = rfc3339_from_unix_s(label.start_unix_s), rfc3339_from_unix_s(label.end_unix_s)
    return start, end, label.cause, guarded(label.comment)
