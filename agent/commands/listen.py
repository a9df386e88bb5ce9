"""`peakshade listen`: what arrives at the broker and what it maps to, to write a map in the field."""

import argparse
import asyncio
import os
import time
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import aiomqtt

from agent.commands.config_argument import add_config, config_path
from agent.config import Config, load_config
from agent.errors import UsageError
from agent.event_loop import run_until_done, stop_on_signals
from agent.extras import module_with_extra
from agent.inputs.mqtt import QOS, connect_host, publishing_client
from agent.service.console import say

if TYPE_CHECKING:
    from agent.inputs.collectors.listening import Listener

SUMMARY = "what arrives at the broker, and what the maps of the config make of it"
EXAMPLE = "peakshade listen van-1.toml --topic 'devices/#'"
TIMEOUT_S = 10.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The config, which topics, and for how long."""
    add_config(parser)
    parser.add_argument(
        "--topic", default="#", metavar="FILTER", help="topic filter (default: #, everything)"
    )
    parser.add_argument("--seconds", type=float, metavar="S", help="end by itself after so long")


def run(args: argparse.Namespace) -> int:
    """Listen until interrupted; 1 where a map of the config has never fitted."""
    config = load_config(config_path(args), os.environ)
    try:
        return run_until_done(_listen(config, args.topic, args.seconds))
    except aiomqtt.MqttError as error:
        where = f"{connect_host(config.broker)}:{config.broker.port}"
        hint = "; its own broker runs with the agent: peakshade run" if config.broker.embedded else ""
        raise UsageError(f"broker {where}: {error}{hint}") from None


async def _listen(config: Config, topic: str, seconds: float | None) -> int:
    module = module_with_extra("agent.inputs.collectors.listening", "listen")
    listener: Listener = module.listener(config)
    stop = stop_on_signals()
    async with publishing_client(config.broker, TIMEOUT_S) as client:
        await client.subscribe(topic, qos=QOS)
        say(f"listening to {topic} at {connect_host(config.broker)}:{config.broker.port}; end with Ctrl-C")
        showing = asyncio.create_task(_show(client, listener, config.job.site.time_zone), name="show")
        ending = asyncio.create_task(stop.wait(), name="stop")
        try:
            await asyncio.wait([showing, ending], timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
            if showing.done():
                showing.result()
        finally:
            showing.cancel()
            ending.cancel()
    never = listener.never(topic)
    for line in never:
        say(f"FINDING  {line}")
    return 1 if never else 0


async def _show(client: aiomqtt.Client, listener: "Listener", time_zone: str) -> None:
    zone = ZoneInfo(time_zone)
    async for message in client.messages:
        now_unix_s = time.time()
        moment = datetime.fromtimestamp(now_unix_s, UTC).astimezone(zone)
        kept = " (kept by the broker)" if message.retain else ""
        first, *more = listener.lines(str(message.topic), bytes(message.payload), now_unix_s)
        say(f"{moment:%H:%M:%S}  {first}{kept}")
        for line in more:
            say(line)
