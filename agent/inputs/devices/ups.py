"""[[inputs.ups]]: a UPS by its server (RFC 9271)."""

import asyncio
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Annotated, Literal

from annotated_types import MaxLen, MinLen

from agent.config import Host, Port
from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Sample, polled
from agent.inputs.collectors.mapped import Seconds, TimeoutSeconds
from agent.inputs.collectors.registry import Around
from agent.inputs.devices.ups_protocol import PORT, UpsError, is_last, list_command, variables
from agent.records import JsonValue

ADVICE = "is the UPS server running, and are [[inputs.ups]] host, port and ups right?"
LONGEST_LINE_BYTES = 4096
MOST_LINES = 1000
# RFC 9271: the words of ups.status.
ONLINE, ON_BATTERY = "OL", "OB"
REPLACE_BATTERY, OVERLOADED = "RB", "OVER"
NUMBERS = {"battery.charge": "battery_percent", "battery.runtime": "runtime_s", "input.voltage": "voltage_v"}
SPOILS = {REPLACE_BATTERY: "the UPS asks for a new battery", OVERLOADED: "the UPS is overloaded"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """`supply` is what the UPS itself hangs on."""

    supply: Literal["mains", "generator"]
    ups: Annotated[str, MinLen(1), MaxLen(64)] = "ups"
    host: Host = "127.0.0.1"
    port: Port = PORT
    every_s: Seconds = 10.0
    timeout_s: TimeoutSeconds = 5.0


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    if not settings.ups.isascii() or any(one.isspace() or one in '"\\' for one in settings.ups):
        around.findings.add(
            around.section, "ups", settings.ups, "the server's name of the UPS, without spaces"
        )
        return None

    async def collect() -> Collected:
        return reading(await ask(settings.host, settings.port, settings.ups), settings.supply)

    return Collector(
        name=f"ups {settings.ups}",
        place=f"{settings.host}:{settings.port} {settings.ups}",
        advice=ADVICE,
        stream=polled(collect, settings.every_s, settings.timeout_s),
        first_within_s=settings.timeout_s,
    )


async def ask(host: str, port: int, ups: str) -> dict[str, str]:
    """Every variable of a UPS; raises OSError or CollectorError. The caller limits the time."""
    reader, writer = await asyncio.open_connection(host, port, limit=LONGEST_LINE_BYTES)
    try:
        writer.write(list_command(ups))
        return await _answer(reader)
    finally:
        writer.close()
        with suppress(OSError):
            await writer.wait_closed()


async def _answer(reader: asyncio.StreamReader) -> dict[str, str]:
    lines: list[str] = []
    while not lines or not is_last(lines[-1]):
        try:
            line = await reader.readline()
        except ValueError:
            raise CollectorError(f"a line is longer than {LONGEST_LINE_BYTES} bytes: no UPS server") from None
        if not line.endswith(b"\n") or len(lines) >= MOST_LINES:
            raise CollectorError("the answer has no end")
        lines.append(line.decode("utf-8", "replace").rstrip("\r\n"))
    try:
        return {one.name: one.value for one in variables(lines)}
    except UpsError as error:
        raise CollectorError(str(error)) from None


def reading(found: Mapping[str, str], supply: str) -> Collected:
    """Where the power comes from and how long it lasts; raises CollectorError where it does not say."""
    words = found.get("ups.status", "").split()
    if ON_BATTERY not in words and ONLINE not in words:
        raise CollectorError(f"ups.status is {' '.join(words) or 'not there'!r}; expected OL or OB in it")
    fields: dict[str, JsonValue] = {"source": "battery" if ON_BATTERY in words else supply}
    for name, field in NUMBERS.items():
        if name in found:
            fields[field] = _number(name, found[name])
    spoilt = [text for word, text in SPOILS.items() if word in words]
    return Collected([Sample("power", fields)], finding="; ".join(spoilt) or None)


def _number(name: str, text: str) -> float:
    try:
        return float(text)
    except ValueError:
        raise CollectorError(f"{name} is {text[:40]!r}; expected a number") from None
