"""[[inputs.hwmon]]: a thermometer of the computer itself.

Linux kernel documentation, hwmon/sysfs-interface: `name` names the chip, `tempN_input` is in millidegrees,
`tempN_label` what it measures, `tempN_fault` 1 where the sensor is broken.
"""

import re
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from agent.inputs.collectors.frame import Collected, Collector, CollectorError, OwnThread, Sample, polled
from agent.inputs.collectors.mapped import Line, Seconds, TimeoutSeconds, Word
from agent.inputs.collectors.registry import Around
from agent.inputs.devices.files import read_text, thousandths
from agent.records import JsonValue, Place

SENSOR = re.compile(r"temp\d+")
ADVICE = "are [[inputs.hwmon]] chip and sensor as in base (look into */name and */temp*_label)?"


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """`sensor` is temp1 and so on, or its label."""

    chip: Word
    where: Place
    sensor: Word = "temp1"
    base: Line = "/sys/class/hwmon"
    every_s: Seconds = 10.0
    timeout_s: TimeoutSeconds = 5.0


def make(settings: Settings, around: Around) -> Collector:
    """The collector."""
    base = around.config.path.parent / settings.base
    thread = OwnThread()

    async def collect() -> Collected:
        temperature_degc = await thread.run(partial(read_temperature, base, settings.chip, settings.sensor))
        fields: dict[str, JsonValue] = {"where": settings.where, "temperature_degc": temperature_degc}
        return Collected([Sample("temperature", fields)])

    return Collector(
        name=f"hwmon {settings.where}",
        place=f"{base} {settings.chip} {settings.sensor}",
        advice=ADVICE,
        stream=polled(collect, settings.every_s, settings.timeout_s),
        first_within_s=settings.timeout_s,
    )


def read_temperature(base: Path, chip: str, sensor: str) -> float:
    """Degrees Celsius of a chip's sensor; the numbers of the folders change from boot to boot.

    Raises OSError or CollectorError.
    """
    chips = {folder: read_text(folder / "name") for folder in sorted(base.iterdir())}
    folders = [folder for folder, name in chips.items() if name == chip]
    if not folders:
        raise CollectorError(f"no chip {chip}; there is {', '.join(sorted(set(chips.values()))) or 'none'}")
    prefix = folders[0] / _file_start(folders[0], sensor)
    fault = Path(f"{prefix}_fault")
    if fault.exists() and read_text(fault) == "1":
        raise CollectorError("the kernel says that the sensor is broken (fault 1)")
    return thousandths(Path(f"{prefix}_input"))


def _file_start(folder: Path, sensor: str) -> str:
    if SENSOR.fullmatch(sensor):
        return sensor
    labels = {path.name.removesuffix("_label"): read_text(path) for path in folder.glob("temp*_label")}
    found = next((start for start, label in sorted(labels.items()) if label == sensor), None)
    if found is None:
        there = ", ".join(sorted(labels.values())) or "no label"
        raise CollectorError(f"no sensor {sensor}; there is {there}")
    return found
