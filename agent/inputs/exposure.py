"""Who can reach the broker and the pages, and who can read along: for the check before the job."""

from dataclasses import replace

import aiomqtt

from agent.config import BrokerSettings, Config, is_this_computer
from agent.inputs.mqtt import publishing_client

ANSWER_WITHIN_S = 3.0


async def what_is_open(config: Config) -> list[tuple[bool, str]]:
    """Sentences, each with whether that is as it should be."""
    return [await _broker_is_open(config.broker), _pages_are_open(config)]


def _encrypted(truly: bool) -> str:
    return "encrypted" if truly else "not encrypted: who is in the network reads along"


async def _broker_is_open(broker: BrokerSettings) -> tuple[bool, str]:
    where = f"broker {broker.host}:{broker.port}"
    if is_this_computer(broker.host):
        return True, f"{where}: only programs on this computer reach it"
    encrypted = _encrypted(broker.tls)
    if broker.embedded:
        return True, f"{where}: with the account {broker.username!r}, {encrypted}"
    if not await _lets_anybody_in(broker):
        return True, f"{where}: with an account only, {encrypted}"
    advice = "give it accounts: peakshade init --mosquitto writes its config"
    return False, f"{where}: everybody may connect and publish readings, {encrypted}; {advice}"


async def _lets_anybody_in(broker: BrokerSettings) -> bool:
    try:
        async with publishing_client(replace(broker, username=None, password=None), ANSWER_WITHIN_S):
            return True
    except aiomqtt.MqttError:
        return False


def _pages_are_open(config: Config) -> tuple[bool, str]:
    pages = config.dashboard
    where = f"pages {pages.host}:{pages.port}"
    if is_this_computer(pages.host):
        return True, f"{where}: only programs on this computer reach them"
    encrypted = _encrypted(pages.certificate is not None)
    return True, f"{where}: with the passcode, {encrypted}"
