"""Alerts from raised to cleared, and the crew's answer to each."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import nan

from agent.records import AlertEvent, Cause, Severity
from agent.report.actions import Action
from agent.watch.rule_stage import SEVERITIES
from agent.watch.rules import RULES


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """One alert. `end_unix_s` is None where it still stood at the end; `severity` is the gravest it had.

    `cause`, `advice` and `evidence` are those of the last time it was raised: the engine knows most then.
    """

    rule: str
    start_unix_s: float
    end_unix_s: float | None
    severity: Severity
    cause: Cause
    advice: str
    evidence: tuple[str, ...]
    ending: tuple[str, ...] = ()
    acknowledged_unix_s: float | None = None
    actions: tuple[Action, ...] = ()

    @property
    def response_s(self) -> float:
        """From raised to the crew's first sign: an acknowledgement or a deed (s); NaN without any."""
        signs = [one.start_unix_s for one in self.actions]
        signs += [] if self.acknowledged_unix_s is None else [self.acknowledged_unix_s]
        return min(signs) - self.start_unix_s if signs else nan

    def lasted_s(self, end_of_day_unix_s: float) -> float:
        """How long it stood (s), up to the end of the day where it was not cleared."""
        end_unix_s = end_of_day_unix_s if self.end_unix_s is None else self.end_unix_s
        return end_unix_s - self.start_unix_s


def episodes(events: Sequence[AlertEvent], deeds: Sequence[Action]) -> tuple[Episode, ...]:
    """The episodes of `events` (in the order of time), in the order in which they began."""
    done: list[Episode] = []
    standing: dict[str, Episode] = {}
    for event in events:
        known = standing.get(event.rule)
        if event.state == "raised":
            standing[event.rule] = _raised(event, known)
        elif known is not None and event.state == "acknowledged" and known.acknowledged_unix_s is None:
            standing[event.rule] = replace(known, acknowledged_unix_s=event.unix_s)
        elif known is not None and event.state == "cleared":
            del standing[event.rule]
            done.append(replace(known, end_unix_s=event.unix_s, ending=event.evidence))
    found = [replace(one, actions=_answers(one, deeds)) for one in (*done, *standing.values())]
    return tuple(sorted(found, key=lambda one: one.start_unix_s))


def _raised(event: AlertEvent, known: Episode | None) -> Episode:
    raised = Episode(
        rule=event.rule,
        start_unix_s=event.unix_s,
        end_unix_s=None,
        severity=event.severity,
        cause=event.cause,
        advice=event.action,
        evidence=event.evidence,
    )
    if known is None:
        return raised
    return replace(
        raised,
        start_unix_s=known.start_unix_s,
        severity=max(known.severity, event.severity, key=SEVERITIES.index),
        acknowledged_unix_s=known.acknowledged_unix_s,
    )


def _answers(episode: Episode, deeds: Sequence[Action]) -> tuple[Action, ...]:
    kinds = RULES[episode.rule].deeds
    return tuple(
        one
        for one in deeds
        if one.kind in kinds
        and one.start_unix_s >= episode.start_unix_s
        and (episode.end_unix_s is None or one.start_unix_s <= episode.end_unix_s)
    )
