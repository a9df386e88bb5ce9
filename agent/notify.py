"""Which alerts go out to people, and when: severity, quiet hours, no repeats. Pure.

Over MQTT every alert is published whatever is decided here.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time
from typing import get_args
from zoneinfo import ZoneInfo

from agent.records import ActiveAlert, AlertEvent, AlertState, JsonValue, Severity
from agent.watch.rules import in_words

SEVERITIES: tuple[Severity, ...] = get_args(Severity)
OPEN: tuple[AlertState, ...] = ("raised", "reminder")
KEPT = 500  # alerts of the past that are recognised, which is more than a day brings


@dataclass(frozen=True, slots=True)
class PolicySettings:
    """`min_severity` goes out at any time, in the quiet hours only `quiet_severity`; None: nothing does.

    The quiet hours are times of the site and may span midnight. The same rule at the same or a lower severity
    does not go out again within `repeat_s`. `cleared`: tell also that it is over.
    """

    zone: ZoneInfo
    min_severity: Severity
    quiet: tuple[time, time] | None
    quiet_severity: Severity | None
    repeat_s: float
    cleared: bool


@dataclass(slots=True)
class Sent:
    """The last that went out of a rule."""

    unix_s: float
    severity: Severity
    state: str


@dataclass(slots=True)
class NotificationPolicy:
    """Decides what goes out; what came in the quiet hours and still stands goes out at their end."""

    settings: PolicySettings
    sent: dict[str, Sent] = field(default_factory=dict)
    known: dict[str, None] = field(default_factory=dict)
    waiting: dict[str, AlertEvent] = field(default_factory=dict)

    def hear(self, events: Iterable[AlertEvent]) -> None:
        """Take in alert events in their order; those that were heard before change nothing."""
        for event in events:
            key = _key(event)
            if key in self.known and event.state != "reminder":
                continue
            self.known[key] = None
            while len(self.known) > KEPT:
                del self.known[next(iter(self.known))]
            self._take(event)

    def _take(self, event: AlertEvent) -> None:
        if event.state in OPEN:
            if _rank(event.severity) >= _rank(self.settings.min_severity):
                self.waiting[event.rule] = event
            return
        told = self.sent.get(event.rule)
        # Somebody who has acknowledged it need not be told, and what nobody was told need not be taken back.
        self.waiting.pop(event.rule, None)
        if event.state == "cleared" and self.settings.cleared and told is not None and told.state in OPEN:
            self.waiting[event.rule] = event

    def due(self, unix_s: float) -> list[AlertEvent]:
        """What goes out now; each counts as sent."""
        quiet = is_quiet(self.settings, unix_s)
        found = [event for event in self.waiting.values() if not quiet or self._passes(event)]
        for event in found:
            del self.waiting[event.rule]
        going = [event for event in found if not self._repeats(event)]
        for event in going:
            self.sent[event.rule] = Sent(event.unix_s, event.severity, event.state)
        return going

    def _passes(self, event: AlertEvent) -> bool:
        least = self.settings.quiet_severity
        return least is not None and event.state in OPEN and _rank(event.severity) >= _rank(least)

    def _repeats(self, event: AlertEvent) -> bool:
        before = self.sent.get(event.rule)
        if before is None or event.state != "raised":
            return False
        graver = _rank(event.severity) > _rank(before.severity)
        return not graver and event.unix_s - before.unix_s < self.settings.repeat_s

    def as_json(self) -> dict[str, JsonValue]:
        """What a restart must not forget; what waits is said again then, if it still stands."""
        waiting = {_key(event) for event in self.waiting.values()}
        return {
            "known": [key for key in self.known if key not in waiting],
            "sent": {rule: [one.unix_s, one.severity, one.state] for rule, one in self.sent.items()},
        }

    def restore(self, tree: Mapping[str, JsonValue]) -> None:
        """Remember what `as_json` gave; raises ValueError where it did not."""
        known, sent = tree.get("known"), tree.get("sent")
        if not isinstance(known, list) or not isinstance(sent, dict):
            raise ValueError("expected known and sent")
        self.known = {str(key): None for key in known}
        for rule, one in sent.items():
            if not isinstance(one, list) or len(one) != 3 or one[1] not in SEVERITIES:
                raise ValueError(f"{rule}: expected time, severity and state")
            severity = next(severity for severity in SEVERITIES if severity == one[1])
            self.sent[rule] = Sent(float(str(one[0])), severity, str(one[2]))


@dataclass(slots=True)
class Reminders:
    """Says again what nobody has seen yet, every so often by severity (s); 0: never."""

    every_s: Mapping[Severity, float]
    said_unix_s: dict[str, float] = field(default_factory=dict)

    def due(self, alerts: Iterable[ActiveAlert], unix_s: float) -> list[AlertEvent]:
        """The reminders of this moment; each has the time and all else of the alert that it repeats."""
        waiting = {one.event.rule: one.event for one in alerts if not one.acknowledged}
        self.said_unix_s = {
            rule: max(event.unix_s, self.said_unix_s.get(rule, event.unix_s))
            for rule, event in waiting.items()
        }
        going = [event for event in waiting.values() if self._is_due(event, unix_s)]
        self.said_unix_s |= {event.rule: unix_s for event in going}
        return [replace(event, state="reminder") for event in going]

    def _is_due(self, event: AlertEvent, unix_s: float) -> bool:
        every_s = self.every_s.get(event.severity, 0.0)
        return every_s > 0.0 and unix_s - self.said_unix_s[event.rule] >= every_s


def may_ring(policy: PolicySettings, severity: Severity, unix_s: float) -> bool:
    """Whether what is of this severity may be heard by people at this moment."""
    least = policy.quiet_severity if is_quiet(policy, unix_s) else policy.min_severity
    return least is not None and _rank(severity) >= max(_rank(least), _rank(policy.min_severity))


def sending_number(
    every_s: Mapping[Severity, float], severity: Severity, raised_unix_s: float, unix_s: float
) -> int:
    """How often an alert that nobody has seen has been said again since it was raised."""
    due_s = every_s.get(severity, 0.0)
    return int((unix_s - raised_unix_s) // due_s) if due_s > 0.0 and unix_s > raised_unix_s else 0


def is_quiet(policy: PolicySettings, unix_s: float) -> bool:
    """Whether it is within the quiet hours at the site, their start included and their end not."""
    if policy.quiet is None:
        return False
    start, end = policy.quiet
    now = datetime.fromtimestamp(unix_s, UTC).astimezone(policy.zone).time()
    return start <= now < end if start <= end else now >= start or now < end


def title_and_body(terminal: str, event: AlertEvent) -> tuple[str, str]:
    """An alert in a few words for a small screen."""
    if event.state == "cleared":
        return f"{terminal}: {in_words(event.rule)}: over", " ".join(event.evidence)
    again = ", not seen yet" if event.state == "reminder" else ""
    title = f"{terminal}: {in_words(event.rule)} ({event.severity}){again}"
    return title, "\n".join([event.action, *event.evidence]).strip()


def _key(event: AlertEvent) -> str:
    return f"{event.rule} {event.state} {event.severity} {event.unix_s!r}"


def _rank(severity: Severity) -> int:
    return SEVERITIES.index(severity)
