"""How well alerts agree with labels: recall, delay and false alarms of each rule. Pure.

What cannot be known is None: the recall of a day without episodes, the delay of a rule that found none.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Protocol

from agent.records import AlertState, JsonValue
from agent.replay.labels import Label
from agent.watch.rules import RULES
from agent.watch.rules.rule import Scored

SECONDS_PER_HOUR = 3600.0


TARGETS: Mapping[str, Scored] = {
    rule.name: rule.scoring for rule in RULES.values() if isinstance(rule.scoring, Scored)
}


class Spoken(Protocol):
    """What is read of an event: an `AlertEvent`, or what tuning knows of one."""

    @property
    def unix_s(self) -> float: ...
    @property
    def rule(self) -> str: ...
    @property
    def state(self) -> AlertState: ...


@dataclass(frozen=True, slots=True)
class Interval:
    """A stretch of time, Unix seconds."""

    start_unix_s: float
    end_unix_s: float

    def meets(self, other: "Interval") -> bool:
        """Whether the two share a moment; touching counts."""
        return self.start_unix_s <= other.end_unix_s and other.start_unix_s <= self.end_unix_s


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleScore:
    """One rule over one or more days. `delays_s` has one entry a detected episode, negative when early."""

    episodes: int
    delays_s: tuple[float, ...]
    alerts: int
    false_alarms: int
    alert_s: float
    span_s: float

    @property
    def detected(self) -> int:
        """How many episodes had an alert."""
        return len(self.delays_s)

    @property
    def recall(self) -> float | None:
        """Share of the episodes that were detected, 0 to 1; None without episodes."""
        return self.detected / self.episodes if self.episodes else None

    @property
    def precision(self) -> float | None:
        """Share of the alerts that belong to an episode, 0 to 1; None without alerts."""
        return (self.alerts - self.false_alarms) / self.alerts if self.alerts else None

    @property
    def median_delay_s(self) -> float | None:
        """Median of the delays from the episode's start; None where none was detected."""
        return median(self.delays_s) if self.delays_s else None

    @property
    def false_alarms_per_hour(self) -> float | None:
        """False alarms over the hours scored; None for a span of no length."""
        return self.false_alarms / (self.span_s / SECONDS_PER_HOUR) if self.span_s > 0.0 else None

    @property
    def alert_share(self) -> float | None:
        """Share of the time that an alert stood, 0 to 1; None for a span of no length."""
        return self.alert_s / self.span_s if self.span_s > 0.0 else None


Score = Mapping[str, RuleScore]


def alert_intervals(events: Iterable[Spoken], rule: str, span: Interval) -> list[Interval]:
    """When an alert of the rule stood; one that is never cleared stands until the span's end.

    A second `raised` while it stands is a change of severity, not a second alert.
    """
    intervals: list[Interval] = []
    since_unix_s: float | None = None
    for event in sorted((e for e in events if e.rule == rule), key=lambda e: e.unix_s):
        if event.state == "raised" and since_unix_s is None:
            since_unix_s = event.unix_s
        elif event.state == "cleared" and since_unix_s is not None:
            intervals.append(Interval(since_unix_s, event.unix_s))
            since_unix_s = None
    if since_unix_s is not None:
        intervals.append(Interval(since_unix_s, max(span.end_unix_s, since_unix_s)))
    return intervals


def score(events: Sequence[Spoken], labels: Sequence[Label], span: Interval) -> Score:
    """Each rule of `TARGETS` against the labels of its cause, over the span."""
    return {rule: _rule_score(rule, target, events, labels, span) for rule, target in TARGETS.items()}


def window(target: Scored, label: Label) -> Interval:
    """When an alert belongs to this labelled episode."""
    return Interval(label.start_unix_s - target.early_s, label.end_unix_s + target.late_s)


def _rule_score(
    rule: str, target: Scored, events: Sequence[Spoken], labels: Sequence[Label], span: Interval
) -> RuleScore:
    alerts = alert_intervals(events, rule, span)
    episodes = [label for label in labels if label.cause == target.cause]
    windows = [window(target, label) for label in episodes]
    delays = []
    for label, around in zip(episodes, windows, strict=True):
        met = next((alert for alert in alerts if alert.meets(around)), None)
        if met is not None:
            delays.append(max(met.start_unix_s, around.start_unix_s) - label.start_unix_s)
    return RuleScore(
        episodes=len(episodes),
        delays_s=tuple(delays),
        alerts=len(alerts),
        false_alarms=sum(not any(alert.meets(one) for one in windows) for alert in alerts),
        alert_s=sum(_shared_s(alert, span) for alert in alerts),
        span_s=span.end_unix_s - span.start_unix_s,
    )


def _shared_s(alert: Interval, span: Interval) -> float:
    return max(min(alert.end_unix_s, span.end_unix_s) - max(alert.start_unix_s, span.start_unix_s), 0.0)


def pooled(scores: Sequence[Score]) -> Score:
    """The scores of several days as one; rules that any of the days has."""
    rules = dict.fromkeys(rule for one in scores for rule in one)
    return {rule: _sum([one[rule] for one in scores if rule in one]) for rule in rules}


def _sum(parts: Sequence[RuleScore]) -> RuleScore:
    return RuleScore(
        episodes=sum(part.episodes for part in parts),
        delays_s=tuple(delay for part in parts for delay in part.delays_s),
        alerts=sum(part.alerts for part in parts),
        false_alarms=sum(part.false_alarms for part in parts),
        alert_s=sum(part.alert_s for part in parts),
        span_s=sum(part.span_s for part in parts),
    )


def score_json(scores: Score) -> dict[str, JsonValue]:
    """The score as the replay command prints it."""
    return {
        rule: {
            "episodes": one.episodes,
            "detected": one.detected,
            "recall": one.recall,
            "median_delay_s": one.median_delay_s,
            "false_alarms": one.false_alarms,
            "false_alarms_per_hour": one.false_alarms_per_hour,
        }
        for rule, one in scores.items()
    }
