"""What the engine knew at one moment, in words and figures. Pure."""

from collections.abc import Iterator, Mapping

from agent.records import ActiveAlert, JsonValue, Situation
from agent.replay.session_time import SiteClock, rfc3339_from_unix_s
from agent.watch.rules import in_words

# The ending of a figure's name to the unit behind its value; the longer ending first.
UNITS = {
    "_degc_min": " °C a minute",
    "_w_m2": " W/m²",
    "_percent": " %",
    "_mbps": " Mbit/s",
    "_degc": " °C",
    "_deg": "°",
    "_db": " dB",
    "_ms": " ms",
    "_s": " s",
}
FLAGS = ("transmitter_shaded", "peaking", "streaming")
NAME_CHARACTERS = 32


def situation_text(situation: Situation, clock: SiteClock) -> Iterator[str]:
    """The verdict, what comes next, every standing alert with its evidence, every figure that was known."""
    yield f"Known at {clock.text(situation.unix_s)}: {situation.verdict} ({situation.level})"
    if situation.next_event is not None:
        yield f"  next: {situation.next_event}"
    for alert in situation.alerts:
        yield from _alert_text(alert, clock)
    for where, unix_s in situation.last_seen_unix_s.items():
        yield f"  {where + ' heard':<{NAME_CHARACTERS}}{situation.unix_s - unix_s:.0f} s before"
    for name, value in situation.figures.items():
        yield f"  {figure_words(name, value)}"


def _alert_text(alert: ActiveAlert, clock: SiteClock) -> Iterator[str]:
    event = alert.event
    seen = ", acknowledged" if alert.acknowledged else ""
    until = "" if event.deadline_unix_s is None else f", until {clock.text(event.deadline_unix_s)}"
    since = clock.text(alert.since_unix_s)
    yield f"  {in_words(event.rule)} ({event.severity}) since {since}{seen}{until}: {event.action}"
    yield from (f"    {reason}" for reason in event.evidence)


def figure_words(name: str, value: float) -> str:
    """A figure's name without its unit, and its value with it: "esno 13.2 dB"."""
    if name in FLAGS:
        return f"{name.replace('_', ' '):<{NAME_CHARACTERS}}{'yes' if value else 'no'}"
    ending = next((one for one in UNITS if name.endswith(one)), "")
    words = name.removesuffix(ending).replace("_", " ")
    return f"{words:<{NAME_CHARACTERS}}{value:.6g}{UNITS.get(ending, '')}"


def situation_json(situation: Situation) -> dict[str, JsonValue]:
    """The situation with its times as RFC 3339."""
    return {
        "time": rfc3339_from_unix_s(situation.unix_s),
        "level": situation.level,
        "verdict": situation.verdict,
        "cause": situation.cause,
        "action": situation.action,
        "deadline_time": _time(situation.deadline_unix_s),
        "next_event": situation.next_event,
        "next_event_time": _time(situation.next_event_unix_s),
        "alerts": [_alert_json(alert) for alert in situation.alerts],
        "last_seen": _times(situation.last_seen_unix_s),
        "figures": dict(situation.figures),
    }


def _time(unix_s: float | None) -> str | None:
    return None if unix_s is None else rfc3339_from_unix_s(unix_s)


def _times(moments: Mapping[str, float]) -> dict[str, JsonValue]:
    return {name: rfc3339_from_unix_s(unix_s) for name, unix_s in moments.items()}


def _alert_json(alert: ActiveAlert) -> JsonValue:
    event = alert.event
    return {
        "rule": event.rule,
        "severity": event.severity,
        "since": rfc3339_from_unix_s(alert.since_unix_s),
        "acknowledged": alert.acknowledged,
        "cause": event.cause,
        "action": event.action,
        "evidence": list(event.evidence),
        "deadline_time": _time(event.deadline_unix_s),
    }
