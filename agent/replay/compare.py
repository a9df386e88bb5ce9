"""What two rule sets say on the same day: raised by one alone, earlier, later, of another severity. Pure."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

from agent.records import AlertState, Severity
from agent.watch.rule_stage import SEVERITIES

Kind = Literal["only-first", "only-second", "earlier", "later", "same"]


class Said(Protocol):
    """What is read of an event: an `AlertEvent`, or what tuning knows of one."""

    @property
    def unix_s(self) -> float: ...
    @property
    def rule(self) -> str: ...
    @property
    def severity(self) -> Severity: ...
    @property
    def state(self) -> AlertState: ...


@dataclass(frozen=True, slots=True)
class Alert:
    """One alert from being raised until it clears (None: it stood at the end), at its gravest."""

    rule: str
    start_unix_s: float
    end_unix_s: float | None
    severity: Severity


@dataclass(frozen=True, slots=True)
class Difference:
    """One alert of the first set, of the second, or of both; `kind` says how the second differs."""

    kind: Kind
    rule: str
    first: Alert | None
    second: Alert | None

    @property
    def start_unix_s(self) -> float:
        """When the earlier of the two was raised."""
        return min(one.start_unix_s for one in (self.first, self.second) if one is not None)


def alerts_of(events: Iterable[Said]) -> list[Alert]:
    """The alerts in the order in which they were raised; `events` in the engine's order."""
    standing: dict[str, Alert] = {}
    alerts: list[Alert] = []
    for event in events:
        known = standing.get(event.rule)
        if event.state == "raised" and known is None:
            standing[event.rule] = Alert(event.rule, event.unix_s, None, event.severity)
        elif event.state == "raised" and known is not None:
            graver = max(known.severity, event.severity, key=SEVERITIES.index)
            standing[event.rule] = Alert(event.rule, known.start_unix_s, None, graver)
        elif event.state == "cleared" and known is not None:
            alerts.append(Alert(event.rule, known.start_unix_s, event.unix_s, known.severity))
            del standing[event.rule]
    return sorted([*alerts, *standing.values()], key=lambda alert: (alert.start_unix_s, alert.rule))


def compare(first: Sequence[Said], second: Sequence[Said]) -> list[Difference]:
    """Every alert of the two in time order; alerts of a rule that overlap in time are the same one.

    Where one of them overlaps several of the other, the earliest is its counterpart and the rest stand alone.
    """
    left, right = alerts_of(first), alerts_of(second)
    found: list[Difference] = []
    for alert in left:
        twin = next((other for other in right if _overlap(alert, other)), None)
        if twin is not None:
            right.remove(twin)
        found.append(Difference(_kind(alert, twin), alert.rule, alert, twin))
    found += [Difference("only-second", alert.rule, None, alert) for alert in right]
    return sorted(found, key=lambda one: (one.start_unix_s, one.rule))


def _overlap(one: Alert, other: Alert) -> bool:
    return (
        one.rule == other.rule
        and (other.end_unix_s is None or one.start_unix_s <= other.end_unix_s)
        and (one.end_unix_s is None or other.start_unix_s <= one.end_unix_s)
    )


def _kind(first: Alert, second: Alert | None) -> Kind:
    if second is None:
        return "only-first"
    if second.start_unix_s == first.start_unix_s:
        return "same"
    return "earlier" if second.start_unix_s < first.start_unix_s else "later"


def says_the_same(one: Difference) -> bool:
    """Whether both raise it at the same moment, at the same severity at the gravest."""
    return (
        one.first is not None
        and one.second is not None
        and one.kind == "same"
        and one.first.severity == one.second.severity
    )
