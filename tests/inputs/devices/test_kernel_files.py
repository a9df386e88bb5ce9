"""1-Wire and hwmon thermometers on trees of files as the kernel lays them out."""

import os
from pathlib import Path

import pytest

from tests.inputs.collectors.inputs_at_work import at_work

SENSOR = "28-0316a2796cff"
ONEWIRE = f"""
[[inputs.onewire]]
sensor = "{SENSOR}"
where = "transmitter"
base = "w1"
every_s = 0.2
timeout_s = 0.5
"""
HWMON = """
[[inputs.hwmon]]
chip = "cpu_thermal"
where = "modem"
sensor = "SENSOR"
base = "hwmon"
every_s = 0.2
timeout_s = 0.5
"""
# The text in the Linux kernel's documentation of w1_therm's format (from memory): 23.125 degC.
SLAVE = "72 01 4b 46 7f ff 0e 10 57 : crc=57 YES\n72 01 4b 46 7f ff 0e 10 57 t=23125\n"


def sensor_folder(folder: Path) -> Path:
    made = folder / "w1" / SENSOR
    made.mkdir(parents=True)
    return made


def hwmon_tree(folder: Path) -> Path:
    """Two chips; their numbers are not their order of importance."""
    for number, (chip, label, text) in enumerate(
        [("nvme", "Composite", "38850"), ("cpu_thermal", "die", "61250")]
    ):
        made = folder / "hwmon" / f"hwmon{number}"
        made.mkdir(parents=True)
        (made / "name").write_text(f"{chip}\n")
        (made / "temp1_label").write_text(f"{label}\n")
        (made / "temp1_input").write_text(f"{text}\n")
    return folder / "hwmon" / "hwmon1"


@pytest.mark.parametrize(
    ("name", "text", "expected_degc"),
    [
        ("w1_slave", SLAVE, 23.125),
        ("w1_slave", SLAVE.replace("t=23125", "t=-1250"), -1.25),
        ("temperature", "41062\n", 41.062),
    ],
)
def test_one_wire(tmp_path: Path, name: str, text: str, expected_degc: float) -> None:
    (sensor_folder(tmp_path) / name).write_text(text)
    with at_work(tmp_path, ONEWIRE) as work:
        assert work.wait_for(1, "temperature") == [
            {"where": "transmitter", "temperature_degc": pytest.approx(expected_degc)}
        ]


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("w1_slave", SLAVE.replace("YES", "NO"), "contacts"),
        ("w1_slave", SLAVE.replace("t=23125", "t=85000"), "lost its power"),
        ("w1_slave", "", "crc=.. YES"),
        ("w1_slave", "\x00\x00 rubbish", "crc=.. YES"),
        ("temperature", "", "a whole number"),
        ("temperature", "4.1e4", "a whole number"),
        ("temperature", "9999999", "temperature_degc is 9999.999"),
    ],
)
def test_one_wire_that_lies(tmp_path: Path, name: str, text: str, said: str) -> None:
    (sensor_folder(tmp_path) / name).write_text(text)
    with at_work(tmp_path, ONEWIRE) as work:
        work.wait_error(said)
        assert not work.published


def test_one_wire_absent_hanging_and_back(tmp_path: Path) -> None:
    """A named pipe without a writer hangs a reader, as a driver does whose bus is stuck."""
    with at_work(tmp_path, ONEWIRE) as work:
        assert "plugged in" in work.wait_error("No such file")
        file = sensor_folder(tmp_path) / "temperature"
        os.mkfifo(file)
        work.wait_error("no answer in time")
        work.wait_error("still hangs")
        with file.open("w") as pipe:
            pipe.write("40000\n")
        file.unlink()
        file.write_text("41000\n")
        assert work.wait_for(1, "temperature")[-1]["temperature_degc"] == 41.0


@pytest.mark.parametrize("sensor", ["temp1", "die"])
def test_hwmon_by_number_and_by_label(tmp_path: Path, sensor: str) -> None:
    hwmon_tree(tmp_path)
    with at_work(tmp_path, HWMON.replace("SENSOR", sensor)) as work:
        assert work.wait_for(1, "temperature") == [{"where": "modem", "temperature_degc": 61.25}]


def test_hwmon_says_what_there_is(tmp_path: Path) -> None:
    chip = hwmon_tree(tmp_path)
    with at_work(tmp_path, HWMON.replace("SENSOR", "board")) as work:
        assert "there is die" in work.wait_error("no sensor board")
    with at_work(tmp_path, HWMON.replace("SENSOR", "temp1").replace("cpu_thermal", "gpu")) as work:
        assert "cpu_thermal, nvme" in work.wait_error("no chip gpu")
    (chip / "temp1_fault").write_text("1\n")
    with at_work(tmp_path, HWMON.replace("SENSOR", "temp1")) as work:
        work.wait_error("broken")
