"""Sends the crew's notes and acknowledgements to the broker, where the agent listens."""

import json
import time
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import aiomqtt

from agent.event_loop import run_until_done
from agent.records import JsonValue
from dashboard.queries import CurrentSituation
from dashboard.settings import Settings

# Long enough for a busy loopback broker, short enough for a thumb that waits for an answer.
DELIVERY_TIMEOUT_S = 5.0
SENDER = "dashboard"


class NotDeliveredError(Exception):
    """The broker did not confirm the message; nothing is known to have been recorded."""


def agent_time(current: CurrentSituation | None, speed: float, wall_unix_s: float) -> float:
    """The agent's time at the moment `wall_unix_s` of the computer's own clock, Unix seconds.

    Where no situation is known the computer's clock is taken.
    """
    if current is None:
        return wall_unix_s
    since_written_s = max(0.0, wall_unix_s - current.written_wall_unix_s)
    return current.situation.unix_s + speed * since_written_s


def note_payload(unix_s: float, kind: str, text: str | None, by: str = SENDER) -> dict[str, JsonValue]:
    """The message body of one note; `by` is who tells it."""
    payload: dict[str, JsonValue] = {"time": _rfc3339(unix_s), "kind": kind, "by": by}
    return payload | ({"text": text} if text else {})


def undo_payload(unix_s: float, note_id: str, by: str = SENDER) -> dict[str, JsonValue]:
    """The message body that takes back the note of this id."""
    return note_payload(unix_s, "undo", None, by) | {"id": note_id}


def by_hand_payload(unix_s: float, fields: Mapping[str, JsonValue], by: str) -> dict[str, JsonValue]:
    """The message body of what a person read off the modem's screen."""
    return {"time": _rfc3339(unix_s), "method": "manual", "by": by, **fields}


def late_note_payload(
    unix_s: float, at_unix_s: float, about: str, text: str | None, replaces: int | None
) -> dict[str, JsonValue]:
    """The body of a note for an earlier time; a remark to the watch, which decided that time long ago."""
    payload = note_payload(unix_s, "other", text) | {"at": _rfc3339(at_unix_s), "about": about}
    return payload if replaces is None else payload | {"replaces": replaces}


def acknowledge_payload(
    unix_s: float, rule: str, snooze_s: float | None, reason: str | None, by: str = SENDER
) -> dict[str, JsonValue]:
    """The message body that says the alert of `rule` was seen; `snooze_s` asks for silence so long."""
    payload: dict[str, JsonValue] = {"time": _rfc3339(unix_s), "rule": rule, "by": by}
    return payload if snooze_s is None else payload | {"snooze_s": snooze_s, "reason": reason}


def deliver(settings: Settings, topic: str, payload: Mapping[str, JsonValue]) -> float:
    """Publish at QoS 1 and wait for the broker's word. Returns the seconds it took."""
    started_s = time.monotonic()
    try:
        run_until_done(_publish(settings, topic, json.dumps(payload)))
    except aiomqtt.MqttError as error:
        where = f"{settings.mqtt_host}:{settings.mqtt_port}"
        raise NotDeliveredError(f"broker {where}: {error}") from error
    return time.monotonic() - started_s


async def _publish(settings: Settings, topic: str, body: str) -> None:
    async with aiomqtt.Client(
        settings.mqtt_host,
        settings.mqtt_port,
        username=settings.mqtt_username,
        password=settings.mqtt_password,
        tls_params=aiomqtt.TLSParameters(ca_certs=_text(settings.mqtt_ca_file))
        if settings.mqtt_tls
        else None,
        timeout=DELIVERY_TIMEOUT_S,
    ) as client:
        await client.publish(topic, body, qos=1)


def _text(path: Path | None) -> str | None:
    return None if path is None else str(path)


def _rfc3339(unix_s: float) -> str:
    return datetime.fromtimestamp(unix_s, UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
