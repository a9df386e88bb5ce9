"""The running agent's own word, which its broker keeps."""

import asyncio
import logging
from dataclasses import dataclass

import aiomqtt
from pydantic import TypeAdapter, ValidationError

from agent.config import BrokerSettings
from agent.inputs.messages import AgentState, status_topic
from agent.inputs.mqtt import QOS, publishing_client

LOG = logging.getLogger(__name__)

ANSWER_WITHIN_S = 3.0


@dataclass(frozen=True, slots=True)
class InputStatus:
    """How one of the agent's own inputs fares."""

    name: str
    state: str
    error: str | None
    finding: str | None


@dataclass(frozen=True, slots=True)
class AgentStatus:
    """The agent's state, and its own inputs, none where it has none or has ended."""

    state: AgentState
    collectors: tuple[InputStatus, ...] = ()


async def retained_status(broker: BrokerSettings, terminal: str) -> AgentStatus | None:
    """What the broker keeps; None where it does not answer, or has nothing that can be read."""
    try:
        async with publishing_client(broker, ANSWER_WITHIN_S) as client:
            await client.subscribe(status_topic(terminal), qos=QOS)
            async with asyncio.timeout(ANSWER_WITHIN_S):
                message = await anext(client.messages)
    except (aiomqtt.MqttError, TimeoutError) as error:
        LOG.info("no word of the agent: %s", error)
        return None
    try:
        return TypeAdapter(AgentStatus).validate_json(bytes(message.payload))
    except ValidationError as error:
        LOG.warning("the agent's word cannot be read: %s", error)
        return None
