"""[[inputs.onewire]]: a thermometer on the 1-Wire bus, as the Linux kernel shows it.

Linux kernel documentation, w1/slaves/w1_therm: `w1_slave` ends its first line in `crc=.. YES` or `NO` and has
`t=` millidegrees in its second; later kernels have `temperature` beside it.
"""

import re
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Annotated

from annotated_types import MaxLen, MinLen

from agent.inputs.collectors.frame import Collected, Collector, CollectorError, OwnThread, Sample, polled
from agent.inputs.collectors.mapped import Line, Seconds, TimeoutSeconds
from agent.inputs.collectors.registry import Around
from agent.inputs.devices.files import MILLI, read_text, thousandths
from agent.records import JsonValue, Place

SENSOR = re.compile(r"[0-9a-f]{2}-[0-9a-f]{12}")
SLAVE = re.compile(r"crc=[0-9a-f]{2} (?P<sound>YES|NO)\n.*\bt=(?P<millidegc>-?\d+)", re.DOTALL)
# What the usual sensors hold from power-on until they have measured (from memory, their data sheets).
POWER_ON_DEGC = 85.0
ADVICE = "is the sensor plugged in, its overlay loaded, and [[inputs.onewire]] sensor a folder in base?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    sensor: Annotated[str, MinLen(1), MaxLen(15)]
    where: Place
    base: Line = "/sys/bus/w1/devices"
    every_s: Seconds = 10.0
    timeout_s: TimeoutSeconds = 10.0


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    if not SENSOR.fullmatch(settings.sensor):
        allowed = 'the name of the sensor\'s folder such as "28-0316a2796cff"'
        around.findings.add(around.section, "sensor", settings.sensor, allowed)
        return None
    folder = around.config.path.parent / settings.base / settings.sensor
    thread = OwnThread()

    async def collect() -> Collected:
        temperature_degc = await thread.run(partial(read_temperature, folder))
        fields: dict[str, JsonValue] = {"where": settings.where, "temperature_degc": temperature_degc}
        return Collected([Sample("temperature", fields)])

    return Collector(
        name=f"onewire {settings.where}",
        place=str(folder),
        advice=ADVICE,
        stream=polled(collect, settings.every_s, settings.timeout_s),
        first_within_s=settings.timeout_s,
    )


def read_temperature(folder: Path) -> float:
    """Degrees Celsius of the sensor in a folder; raises OSError or CollectorError."""
    direct = folder / "temperature"
    temperature_degc = thousandths(direct) if direct.exists() else slave_degc(read_text(folder / "w1_slave"))
    if temperature_degc == POWER_ON_DEGC:
        raise CollectorError(f"exactly {POWER_ON_DEGC:g} degC, which a sensor says that lost its power")
    return temperature_degc


def slave_degc(text: str) -> float:
    """Degrees Celsius in the text of `w1_slave`; raises CollectorError."""
    match = SLAVE.search(text)
    if match is None:
        raise CollectorError(f"w1_slave holds {text[:40]!r}; expected crc=.. YES and t=millidegrees")
    if match["sound"] == "NO":
        raise CollectorError("the checksum is wrong (crc NO); look at the cable's length and contacts")
    return int(match["millidegc"]) * MILLI
