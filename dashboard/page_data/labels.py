"""Labels of a day as the browser keeps them, and as the file that a session folder takes. Pure."""

from collections.abc import Iterable, Sequence
from typing import TypedDict

from agent.records import AlertEvent, Cause
from agent.replay.compare import alerts_of
from agent.replay.labels import LABEL_CAUSES, Label


class LabelRow(TypedDict):
    """One episode in the browser's own store."""

    start_unix_s: float
    end_unix_s: float
    cause: Cause


def labels_of(rows: Sequence[LabelRow]) -> tuple[Label, ...]:
    """The labels in time order."""
    labels = [
        Label(start_unix_s=row["start_unix_s"], end_unix_s=row["end_unix_s"], cause=row["cause"])
        for row in rows
    ]
    return tuple(sorted(labels, key=lambda label: (label.start_unix_s, label.end_unix_s)))


def rows_of_labels(labels: Iterable[Label]) -> list[LabelRow]:
    """The labels for the browser."""
    return [
        LabelRow(start_unix_s=label.start_unix_s, end_unix_s=label.end_unix_s, cause=label.cause)
        for label in labels
    ]


def proposed(events: Sequence[AlertEvent], end_unix_s: float) -> tuple[Label, ...]:
    """A label for each alert that has a cause, to be corrected by whoever was there."""
    causes = {(event.rule, event.unix_s): event.cause for event in events if event.state == "raised"}
    found = [
        Label(
            start_unix_s=alert.start_unix_s,
            end_unix_s=end_unix_s if alert.end_unix_s is None else alert.end_unix_s,
            cause=causes[alert.rule, alert.start_unix_s],
        )
        for alert in alerts_of(events)
    ]
    return tuple(label for label in found if label.cause in LABEL_CAUSES)
