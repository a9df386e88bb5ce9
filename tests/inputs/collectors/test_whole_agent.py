"""The agent as a user starts it, with inputs that work beside such that are absent, slow or silent."""

import json
import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from agent.cli import main
from agent.config import LOOPBACK
from agent.inputs.messages import status_topic
from agent.store.opening import open_for_reading
from tests.conftest import LayPlan
from tests.inputs.collectors.inputs_at_work import config_with
from tests.inputs.devices.test_http import Device
from tests.live import ROOT, retained, stored_readings
from tests.processes import PATIENCE_S, Mosquitto, free_port, wait_until

pytestmark = pytest.mark.mosquitto

INPUTS = f"""
[store]
path = "day.sqlite3"

[[inputs.http]]
name = "modem"
url = "http://{LOOPBACK}:MODEM/"
every_s = 0.2
[inputs.http.readings.signal]
esno_db = "/rx/esno"

[[inputs.http]]
name = "slow"
url = "http://{LOOPBACK}:SLOW/"
every_s = 0.2
timeout_s = 1.0
[inputs.http.readings.signal]
esno_db = "/rx/esno"

[[inputs.onewire]]
sensor = "28-0316a2796cff"
where = "transmitter"
base = "w1"
every_s = 0.2

[[inputs.onewire]]
sensor = "28-000000000000"
where = "modem"
base = "w1"
timeout_s = 1.0

[[inputs.ups]]
supply = "mains"
port = ABSENT

[[inputs.line]]
name = "mute"
address = "tcp://{LOOPBACK}:MUTE"
format = "number"
expect_s = 1.0
[inputs.line.readings.weather]
air_degc = "value"
"""
EXPECTED = {
    "http modem": None,
    "http slow": "no answer in time",
    "onewire transmitter": None,
    "onewire modem": "no answer in time",
    "ups ups": "Connect",
    "line mute": "silent for 1 s",
}


@pytest.fixture
def config(mosquitto: Mosquitto, tmp_path: Path, lay_plan: LayPlan) -> Iterator[Path]:
    """A config with two inputs that work and four that do not."""
    lay_plan(tmp_path / "van-1.toml")
    modem, slow = Device(free_port()), Device(free_port(), drips=True)
    modem.start()
    slow.start()
    working = tmp_path / "w1" / "28-0316a2796cff"
    hanging = tmp_path / "w1" / "28-000000000000"
    for folder in (working, hanging):
        folder.mkdir(parents=True)
    (working / "temperature").write_text("41000\n")
    os.mkfifo(hanging / "temperature")
    with socket.create_server((LOOPBACK, 0)) as mute:
        text = INPUTS.replace("MODEM", str(modem.port)).replace("SLOW", str(slow.port))
        text = text.replace("MUTE", str(mute.getsockname()[1])).replace("ABSENT", str(free_port()))
        broker = f'[broker]\nhost = "{LOOPBACK}"\nport = {mosquitto.port}\n'
        yield config_with(tmp_path, text, broker).path
    modem.stop()
    slow.stop()


def states(port: int) -> dict[str, dict[str, object]]:
    """What the broker keeps of the agent's inputs, by their names."""
    status = retained(port, status_topic("van-1"))
    return {} if status is None else {one["name"]: one for one in json.loads(status).get("collectors", [])}


def troubled_in_store(store: Path) -> set[str]:
    """Which of them fail by what the store keeps for the pages."""
    with closing(open_for_reading(store)) as connection:
        (body,) = connection.execute("SELECT body FROM input_state").fetchone()
    return {one["name"] for one in json.loads(body) if one["state"] == "failing"}


def as_expected(port: int) -> bool:
    found = states(port)
    return found.keys() == EXPECTED.keys() and all(
        found[name]["error"] is None if error is None else error in str(found[name]["error"])
        for name, error in EXPECTED.items()
    )


def test_some_work_and_the_others_are_named(
    config: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    agent = subprocess.Popen([sys.executable, "-m", "agent", "run", str(config), "--no-dashboard"], cwd=ROOT)
    store = config.parent / "day.sqlite3"
    try:
        wait_until(lambda: as_expected(mosquitto.port), PATIENCE_S, "the states of the inputs")
        before = len(stored_readings(store))
        wait_until(lambda: len(stored_readings(store)) >= before + 50, PATIENCE_S, "more readings")
        assert main(["status", str(config)]) in (0, 1)
        troubled = {name for name, error in EXPECTED.items() if error is not None}
        wait_until(lambda: troubled_in_store(store) == troubled, PATIENCE_S, "the states in the store")
        said = capsys.readouterr().out
        assert "  line mute: " in said and "http modem" not in said
    finally:
        agent.send_signal(signal.SIGTERM)
        code = agent.wait(PATIENCE_S)
    assert code == 0
    assert {type(one).__name__ for one in stored_readings(store)} == {"Signal", "Temperature"}

    assert main(["check", str(config)]) == 1
    said = capsys.readouterr().out
    lines = {
        line.split("input    ")[1].split(":")[0]: line for line in said.splitlines() if " input " in line
    }
    assert lines["http modem"].startswith("ok") and "esno_db = 13.5" in lines["http modem"]
    assert lines["onewire transmitter"].startswith("ok")
    for name, error in EXPECTED.items():
        if error is not None:
            assert lines[name].startswith("FINDING"), name
