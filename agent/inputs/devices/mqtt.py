"""[[inputs.mqtt]]: messages of other devices, in their own topics and words, as readings."""

import asyncio
import time
from collections.abc import AsyncGenerator, Mapping
from dataclasses import dataclass, field, replace
from typing import Annotated

import aiomqtt
from annotated_types import Interval
from pydantic import SecretStr

from agent.config import MQTT_PORT, MQTT_TLS_PORT, BrokerSettings, FilePath, Host, Port
from agent.inputs.collectors.decoding import Format, PayloadRefused
from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Stream
from agent.inputs.collectors.mapped import Line, Mapped, Word, mapped
from agent.inputs.collectors.registry import Around, authority_of, secret_of
from agent.inputs.messages import TOPIC_ROOT
from agent.inputs.mqtt import QOS, connect_host, publishing_client

ADVICE = "does the device publish, and is [[inputs.mqtt]] topic right? see: peakshade listen"
TIMEOUT_S = 10.0
OWN_TOPICS = f"{TOPIC_ROOT}/"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """From the agent's own broker, or from another one at `host`.

    A device that keeps its last message at the broker says with it what was, not what is: such messages count
    only with `retained`. Silence, or nothing that fits, for `expect_s` is a failure.
    """

    topic: Line
    readings: Mapping[str, object]
    name: Word | None = None
    format: Format = "json"
    pattern: Line | None = None
    retained: bool = False
    expect_s: Annotated[float, Interval(ge=1.0, le=86_400.0)] = 300.0
    host: Host | None = None
    port: Port | None = None
    tls: bool = False
    ca_file: FilePath | None = None
    username: Word | None = None
    password_env: Word | None = None


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    before = len(around.findings.lines)
    try:
        aiomqtt.Wildcard(settings.topic)
    except ValueError:
        around.findings.add(around.section, "topic", settings.topic, "a topic filter: a/b, a/+/b or a/#")
    if settings.topic.startswith(OWN_TOPICS):
        allowed = f"a topic of another device; what comes in {OWN_TOPICS} needs no map"
        around.findings.add(around.section, "topic", settings.topic, allowed)
    how = mapped(settings, around.section, around.findings)
    broker = _broker(settings, around)
    if len(around.findings.lines) > before or how is None:
        return None
    return Collector(
        name=f"mqtt {settings.name or settings.topic}",
        place=f"{broker.host}:{broker.port} {settings.topic}",
        advice=ADVICE,
        stream=_stream(settings, broker, how),
        first_within_s=settings.expect_s + TIMEOUT_S,
        at_broker=settings.host is None,
    )


def _broker(settings: Settings, around: Around) -> BrokerSettings:
    own = around.config.broker
    if settings.host is None:
        if settings.ca_file is not None:
            allowed = "only there with a host; the agent's own broker has [broker] ca_file"
            around.findings.add(around.section, "ca_file", settings.ca_file, allowed)
        return replace(own, host=connect_host(own))
    password = secret_of("password_env", settings.password_env, around)
    if settings.ca_file is not None and not settings.tls:
        around.findings.add(around.section, "ca_file", settings.ca_file, "only there where tls = true")
    return BrokerSettings(
        embedded=False,
        host=settings.host,
        port=settings.port or (MQTT_TLS_PORT if settings.tls else MQTT_PORT),
        tls=settings.tls,
        username=settings.username,
        password=None if password is None else SecretStr(password),
        ca_file=authority_of(settings.ca_file, around),
    )


def _stream(settings: Settings, broker: BrokerSettings, how: Mapped) -> Stream:
    async def stream() -> AsyncGenerator[Collected, None]:
        try:
            async with publishing_client(broker, TIMEOUT_S) as client:
                await client.subscribe(settings.topic, qos=QOS)
                watch = _Watch(settings.expect_s)
                while True:
                    found = _collected(how, await watch.next_message(client, settings.retained), watch)
                    if found is not None:
                        yield found
        except aiomqtt.MqttError as error:
            raise CollectorError(str(error)) from None

    return stream


def _now_s() -> float:
    return asyncio.get_running_loop().time()


@dataclass(slots=True)
class _Watch:
    """Since when no message has fitted, by the loop's time."""

    expect_s: float
    fitted_s: float = field(default_factory=_now_s)
    ever: bool = False

    async def next_message(self, client: aiomqtt.Client, retained: bool) -> aiomqtt.Message:
        """The next message of another device; raises CollectorError where none comes."""
        while True:
            try:
                async with asyncio.timeout(self.expect_s):
                    message = await anext(client.messages)
            except TimeoutError:
                raise CollectorError(f"no message for {self.expect_s:g} s") from None
            if not message.topic.value.startswith(OWN_TOPICS) and (retained or not message.retain):
                return message


def _collected(how: Mapped, message: aiomqtt.Message, watch: _Watch) -> Collected | None:
    """Under a filter with wildcards some messages are others' business: no failure while some fit."""
    try:
        found = how.collected(bytes(message.payload), time.time())
    except PayloadRefused as error:
        if watch.ever and _now_s() - watch.fitted_s < watch.expect_s:
            return None
        return Collected((), error=f"no message fits the map; {message.topic}: {error}")
    watch.fitted_s, watch.ever = _now_s(), True
    return found
