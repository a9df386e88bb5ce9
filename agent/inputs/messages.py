"""Topics, and the messages that peakshade writes: readings, alerts and its status. Pure."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import fields
from datetime import UTC, datetime
from typing import Literal

from agent.inputs.payloads import SENT_TIME, TIME
from agent.records import KINDS, AlertEvent, AnyReading, JsonValue, Reading

TOPIC_ROOT = "peakshade"
STATUS = "status"
ALERT = "alert"
# Between a terminal and the desk; below "desk" the desk speaks.
DESK_ROOT = "peakshade-desk"
BATCH = "batch"
# The desk has this batch; refuses one; wants single readings of some hours.
HAVE, REFUSED, WANT = "have", "refused", "want"

# "lost" is the last will: the broker says it when the agent is gone without a word.
AgentState = Literal["online", "offline", "lost"]
OFFLINE: AgentState = "offline"

_KIND_OF = {record: kind for kind, record in KINDS.items()}


def reading_topic(terminal: str, kind: str) -> str:
    """Where readings of a kind are published; `+` as kind is every kind."""
    return f"{TOPIC_ROOT}/{terminal}/{kind}"


def is_reading_topic(terminal: str, topic: str) -> bool:
    """Whether what comes on this topic is for the agent to read and store, its own state excepted."""
    start = reading_topic(terminal, "")
    return (
        topic.startswith(start) and "/" not in topic.removeprefix(start) and topic != status_topic(terminal)
    )


def is_for_agent(terminal: str, topic: str) -> bool:
    """Whether the agent hears this topic: readings, and what another agent says of itself."""
    return is_reading_topic(terminal, topic) or topic == status_topic(terminal)


def alert_topic(terminal: str, rule: str) -> str:
    """Where the latest event of a rule is retained."""
    return f"{TOPIC_ROOT}/{terminal}/{ALERT}/{rule}"


def status_topic(terminal: str) -> str:
    """Where the agent's state is retained."""
    return f"{TOPIC_ROOT}/{terminal}/{STATUS}"


def batch_topic(terminal: str) -> str:
    """Where a terminal publishes what it forwards; `+` is every terminal."""
    return f"{DESK_ROOT}/{terminal}/{BATCH}"


def desk_topic(terminal: str, word: str) -> str:
    """Where the desk answers a terminal; `+` as word is every answer."""
    return f"{DESK_ROOT}/{terminal}/desk/{word}"


def kind_of(reading: AnyReading) -> str:
    """The kind of a reading, as in KINDS."""
    return _KIND_OF[type(reading)]


def reading_fields(reading: AnyReading) -> dict[str, JsonValue]:
    """The fields that a message of this reading has, with its exact time."""
    body: dict[str, JsonValue] = {TIME: reading.unix_s}
    if reading.sent_unix_s is not None:
        body[SENT_TIME] = reading.sent_unix_s
    shared = {item.name for item in fields(Reading)}
    for item in fields(reading):
        value = getattr(reading, item.name)
        if item.name not in shared and value is not None:
            body[item.name] = value
    return body | dict(reading.extra)


def to_message(reading: AnyReading) -> bytes:
    """The payload that parses to this reading again."""
    return encoded(reading_fields(reading))


def alert_message(event: AlertEvent) -> bytes:
    """The payload of one alert event."""
    deadline = event.deadline_unix_s
    body: dict[str, JsonValue] = {
        TIME: rfc3339(event.unix_s),
        "rule": event.rule,
        "severity": event.severity,
        "state": event.state,
        "cause": event.cause,
        "action": event.action,
        "evidence": list(event.evidence),
        "deadline_time": None if deadline is None else rfc3339(deadline),
    }
    return encoded(body if event.confidence is None else body | {"confidence": event.confidence})


def status_message(
    unix_s: float,
    state: AgentState,
    last_seen_unix_s: Mapping[str, float],
    collectors: Sequence[JsonValue] = (),
    agent: Mapping[str, JsonValue] | None = None,
) -> bytes:
    """The payload of the agent's state, with the age of every input in seconds and how collectors fare.

    `agent` is which one it is: host, process, and since when.
    """
    ages: dict[str, JsonValue] = {
        name: round(max(0.0, unix_s - seen_unix_s), 1) for name, seen_unix_s in last_seen_unix_s.items()
    }
    body: dict[str, JsonValue] = {TIME: rfc3339(unix_s), "state": state, "inputs": ages}
    if agent is not None:
        body["agent"] = dict(agent)
    return encoded(body | {"collectors": list(collectors)} if collectors else body)


def rfc3339(unix_s: float) -> str:
    """RFC 3339 in UTC to the millisecond."""
    return datetime.fromtimestamp(unix_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def encoded(body: Mapping[str, JsonValue]) -> bytes:
    """An object as a payload."""
    return json.dumps(body, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()
