"""The alerts that a broker has kept of a terminal: what stood, where no store knows it any more."""

import asyncio
import json
import logging
from datetime import datetime

import aiomqtt
from pydantic import TypeAdapter

from agent.config import BrokerSettings
from agent.inputs.messages import alert_topic
from agent.inputs.mqtt import QOS, publishing_client
from agent.records import ActiveAlert, AlertEvent

LOG = logging.getLogger(__name__)

TIMEOUT_S = 10.0
# A broker sends what it has kept right after it has granted the subscription.
SILENT_S = 2.0
_EVENT = TypeAdapter(AlertEvent)


def standing_alert(payload: bytes) -> ActiveAlert | None:
    """The alert of a message, None where it is over; raises ValueError for what is no such message."""
    body = json.loads(payload)
    try:
        if body["state"] == "cleared":
            return None
        deadline = body["deadline_time"]
        times = {
            "unix_s": datetime.fromisoformat(body["time"]).timestamp(),
            "deadline_unix_s": None if deadline is None else datetime.fromisoformat(deadline).timestamp(),
        }
        names = ("rule", "severity", "state", "cause", "action", "evidence")
        known = {name: body[name] for name in names}
    except (KeyError, TypeError) as error:
        raise ValueError(f"no alert: {error!r}") from error
    event = _EVENT.validate_python({**known, **times, "figures": {}, "confidence": body.get("confidence")})
    return ActiveAlert(since_unix_s=event.unix_s, event=event, acknowledged=event.state == "acknowledged")


async def retained_alerts(broker: BrokerSettings, terminal: str) -> list[ActiveAlert]:
    """Those that stand by the broker's memory, by people's clock; raises MqttError."""
    found: list[ActiveAlert] = []
    async with publishing_client(broker, TIMEOUT_S) as client:
        await client.subscribe(alert_topic(terminal, "+"), qos=QOS)
        while True:
            try:
                async with asyncio.timeout(SILENT_S):
                    message = await anext(client.messages)
            except TimeoutError:
                return found
            alert = _read(message) if message.retain else None
            if alert is not None:
                found.append(alert)


def _read(message: aiomqtt.Message) -> ActiveAlert | None:
    try:
        return standing_alert(bytes(message.payload))
    except ValueError as error:
        LOG.warning("the broker has kept on %s what is no alert (%s)", message.topic, error)
        return None
