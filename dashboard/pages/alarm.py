"""What rings in the browser, and when: with each sending of an alert that nobody has seen. Pure."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from agent.config_notify import NotifySettings, policy_of, reminded_s
from agent.notify import may_ring, sending_number
from agent.records import ActiveAlert, JsonValue, Severity
from agent.watch.rules import in_words
from dashboard import words

BEEPS: Mapping[Severity, int] = {"advise": 1, "act": 2, "urgent": 3}
LOST: Severity = "urgent"


@dataclass(frozen=True, slots=True)
class Ringing:
    """The moment (agent's time), the settings of [notify], the site's zone, the speed of a played day."""

    unix_s: float
    settings: NotifySettings
    zone: ZoneInfo
    speed: float

    def may(self, severity: Severity) -> bool:
        """Whether what is so grave may be heard now."""
        return may_ring(policy_of(self.settings, self.zone), severity, self.unix_s)


def alarms(alerts: Iterable[ActiveAlert], ringing: Ringing) -> list[dict[str, JsonValue]]:
    """The alerts that nobody has seen and that may be heard; each sending has an `id` of its own."""
    every_s = reminded_s(ringing.settings, ringing.speed)
    return [
        _alarm(alert, sending_number(every_s, alert.event.severity, alert.event.unix_s, ringing.unix_s))
        for alert in alerts
        if not alert.acknowledged and alert.snoozed_until_unix_s is None and ringing.may(alert.event.severity)
    ]


def _alarm(alert: ActiveAlert, sending: int) -> dict[str, JsonValue]:
    event = alert.event
    return {
        "id": f"{event.rule}@{event.unix_s:.0f}/{event.severity}#{sending}",
        "rule": event.rule,
        "first": sending == 0,
        "beeps": BEEPS[event.severity],
        "title": f"{words.LEVELS[event.severity]}: {in_words(event.rule)}",
        "action": event.action,
    }
