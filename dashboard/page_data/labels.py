"""Labels of a day, which the browser keeps and a session folder takes as a file. Pure."""

from collections.abc import Iterable, Sequence

from agent.records import AlertEvent
from agent.replay.compare import alerts_of
from agent.replay.labels import LABEL_CAUSES, Label


def in_order(labels: Iterable[Label]) -> tuple[Label, ...]:
    """The labels in time order."""
    return tuple(sorted(labels, key=lambda label: (label.start_unix_s, label.end_unix_s)))


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
