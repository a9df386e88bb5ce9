"""What the broker answers before the job: whether it lets the agent in, and what a running agent says."""

import asyncio
import json
import socket
from collections.abc import Mapping
from dataclasses import dataclass

import aiomqtt

from agent.config import Config
from agent.event_loop import run_until_done
from agent.inputs.messages import status_topic
from agent.inputs.mqtt import QOS, connect_host, publishing_client
from agent.records import JsonValue

ANSWER_WITHIN_S = 5.0
# A retained message comes with the answer to the subscription.
STATUS_WITHIN_S = 0.5


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was looked at; `fine` False: `text` says what to mend."""

    fine: bool
    subject: str
    text: str


@dataclass(frozen=True, slots=True)
class Answer:
    """What the broker said. `status` is the running agent's status message; None: it does not run."""

    status: Mapping[str, JsonValue] | None
    error: aiomqtt.MqttError | None = None

    @property
    def connects(self) -> bool:
        """Whether there is a broker."""
        return self.error is None


def asked_broker(config: Config) -> Answer:
    """Ask the broker what the agent says of itself."""
    try:
        return Answer(run_until_done(_retained_status(config)))
    except aiomqtt.MqttError as error:
        return Answer(None, error)


async def _retained_status(config: Config) -> Mapping[str, JsonValue] | None:
    async with publishing_client(config.broker, ANSWER_WITHIN_S) as client:
        await client.subscribe(status_topic(config.job.terminal), qos=QOS)
        try:
            async with asyncio.timeout(STATUS_WITHIN_S):
                message = await anext(client.messages)
        except TimeoutError:
            return None
    status: JsonValue = json.loads(bytes(message.payload))
    return status if isinstance(status, dict) and status.get("state") == "online" else None


def check_broker(config: Config, answer: Answer) -> Finding:
    """An embedded broker needs a free port, another one must let the agent in."""
    broker = config.broker
    where = f"{connect_host(broker)}:{broker.port}"
    if answer.error is not None:
        if broker.embedded:
            return _port_free(config)
        text = f"{where} does not let the agent in ({answer.error}); start it, or mend [broker] in the config"
        return Finding(False, "broker", text)
    if answer.status is not None:
        return Finding(True, "broker", f"{where} answers, and the agent is running")
    if broker.embedded:
        text = f"{where} is another program's broker; name it in the config ([broker] host), or a free port"
        return Finding(False, "broker", text)
    return Finding(True, "broker", f"{where} answers; the agent is not running")


def _port_free(config: Config) -> Finding:
    where = f"{config.broker.host}:{config.broker.port}"
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((config.broker.host, config.broker.port))
        except OSError as error:
            text = f"{where} cannot be used ({error.strerror}); name a free one in the config: [broker] port"
            return Finding(False, "broker", text)
    return Finding(True, "broker", f"{where} is free for the agent's own broker")
