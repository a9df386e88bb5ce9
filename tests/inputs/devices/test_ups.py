"""The UPS input against Debian's UPS server with its driver that plays a file."""

import os
import shutil
import signal
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

from agent.config import LOOPBACK
from agent.inputs.devices.ups_protocol import UpsError, Variable, variables
from tests.inputs.collectors.inputs_at_work import at_work
from tests.processes import PATIENCE_S, free_port, listens, wait_until

MAINS = "ups.status: OL CHRG\nbattery.charge: 97\nbattery.runtime: 5400\ninput.voltage: 229.5\n"
BATTERY = "ups.status: OB DISCHRG\nbattery.charge: 71\nbattery.runtime: 2700\ninput.voltage: 0\n"
INPUTS = f"""
[[inputs.ups]]
supply = "generator"
ups = "van"
host = "{LOOPBACK}"
port = PORT
every_s = 0.2
timeout_s = 1.0
"""


def program(name: str) -> str:
    """A program of the server's package, some of which are not on the path."""
    found = shutil.which(name, path=f"/lib/nut:/usr/lib/nut:/usr/libexec/nut:{os.environ['PATH']}")
    if found is None:
        pytest.skip(f"no {name} binary (Debian package: nut-server)")
    return found


class UpsServer:
    """upsd and dummy-ups in a folder of their own."""

    def __init__(self, folder: Path) -> None:
        self._server, self._driver = program("upsd"), program("dummy-ups")
        self.port = free_port()
        self._folder = folder / "nut"
        self._folder.mkdir()
        self._environment = os.environ | {
            name: str(self._folder) for name in ("NUT_CONFPATH", "NUT_STATEPATH", "NUT_ALTPIDPATH")
        }
        (self._folder / "ups.conf").write_text(
            f"[van]\ndriver = dummy-ups\nport = {self._folder}/van.dev\npollinterval = 1\n"
        )
        (self._folder / "upsd.conf").write_text(f"LISTEN {LOOPBACK} {self.port}\nMAXAGE 3\n")
        (self._folder / "upsd.users").write_text("")
        for name in ("upsd.conf", "upsd.users"):
            (self._folder / name).chmod(0o640)
        self._processes: list[subprocess.Popen[bytes]] = []
        self._changed_unix_s = 1_784_367_000

    def say(self, text: str) -> None:
        """What the UPS says from its next look at the file on."""
        file = self._folder / "new"
        file.write_text(f"{text}TIMER 1\n")
        # The driver looks again where the whole second of the file's change is another.
        self._changed_unix_s += 10
        os.utime(file, (self._changed_unix_s, self._changed_unix_s))
        file.replace(self._folder / "van.dev")

    def start(self) -> None:
        """Driver and server; on return the server listens."""
        self._run(self._driver, "-a", "van")
        wait_until((self._folder / "dummy-ups-van").exists, PATIENCE_S, "the driver's socket")
        self._run(self._server)
        wait_until(lambda: listens(self.port), PATIENCE_S, "upsd listens")

    def _run(self, *command: str) -> None:
        self._processes.append(
            subprocess.Popen(
                [*command, "-u", "root", "-F"],
                env=self._environment,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
            )
        )

    def kill_driver(self) -> None:
        """The UPS is lost to the server."""
        self._processes[0].kill()

    def freeze(self, frozen: bool) -> None:
        """The server takes connections and answers nothing, or goes on."""
        self._processes[1].send_signal(signal.SIGSTOP if frozen else signal.SIGCONT)

    def stop(self) -> None:
        """End both."""
        for process in self._processes:
            process.kill()
            process.wait(PATIENCE_S)
        self._processes = []
        (self._folder / "dummy-ups-van").unlink(missing_ok=True)


@pytest.fixture
def server(tmp_path: Path) -> Iterator[UpsServer]:
    """Not started yet."""
    made = UpsServer(tmp_path)
    made.say(MAINS)
    yield made
    made.stop()


def inputs(port: int) -> str:
    return INPUTS.replace("PORT", str(port))


def test_from_the_generator_to_the_battery_and_back(server: UpsServer, tmp_path: Path) -> None:
    server.start()
    with at_work(tmp_path, inputs(server.port)) as work:
        assert work.wait_for(1, "power") == [
            {"source": "generator", "battery_percent": 97.0, "runtime_s": 5400.0, "voltage_v": 229.5}
        ]
        server.say(BATTERY)
        on_battery = {"source": "battery", "battery_percent": 71.0, "runtime_s": 2700.0, "voltage_v": 0.0}
        wait_until(lambda: on_battery in work.readings("power"), PATIENCE_S, "on battery")
        server.say(MAINS)
        wait_until(lambda: work.readings("power")[-1]["source"] == "generator", PATIENCE_S, "back")


def test_absent_slow_and_started_again(server: UpsServer, tmp_path: Path) -> None:
    with at_work(tmp_path, inputs(server.port)) as work:
        assert "host, port and ups" in work.wait_error("Connect")
        server.start()
        work.wait_for(1, "power")
        server.freeze(True)
        work.wait_error("no answer in time")
        server.freeze(False)
        work.wait_for(1, "power")
        server.stop()
        work.wait_error("Connect")
        server.start()
        work.wait_for(1, "power")


def test_a_lost_ups_is_no_power_reading(server: UpsServer, tmp_path: Path) -> None:
    server.start()
    with at_work(tmp_path, inputs(server.port)) as work:
        work.wait_for(1, "power")
        server.kill_driver()
        work.wait_error("ERR D")


def test_another_name_is_said_so(server: UpsServer, tmp_path: Path) -> None:
    server.start()
    with at_work(tmp_path, inputs(server.port).replace('"van"', '"lorry"')) as work:
        work.wait_error("no such UPS")


def test_a_worn_battery_is_a_finding(server: UpsServer, tmp_path: Path) -> None:
    server.say(MAINS.replace("OL CHRG", "OL RB"))
    server.start()
    with at_work(tmp_path, inputs(server.port)) as work:
        work.wait_for(1, "power")
        assert work.states[0].finding == "the UPS asks for a new battery"


@pytest.mark.parametrize(
    ("rubbish", "said"),
    [
        (b"HTTP/1.1 400 Bad Request\r\n\r\n", "expected VAR"),
        (b"\x00\xff" * 5000 + b"\n", "longer than"),
        (b"BEGIN LIST VAR van\n" + b'VAR van ups.x "1"\n' * 2000, "no end"),
        (b'BEGIN LIST VAR van\nVAR van battery.charge "97"\nEND LIST VAR van\n', "ups.status"),
        (b"", "no end"),
    ],
)
def test_rubbish_is_refused(tmp_path: Path, rubbish: bytes, said: str) -> None:
    with socket.create_server((LOOPBACK, 0)) as listener:
        listener.settimeout(PATIENCE_S)
        with at_work(tmp_path, inputs(listener.getsockname()[1])) as work:
            connection, _ = listener.accept()
            with connection:
                connection.recv(100)
                connection.sendall(rubbish)
                connection.shutdown(socket.SHUT_WR)
                connection.settimeout(PATIENCE_S)
                try:
                    connection.recv(1)
                except ConnectionError:
                    listener.settimeout(PATIENCE_S)
            work.wait_error(said)
            assert not work.published


def test_values_with_quotes_as_the_protocol_writes_them() -> None:
    """RFC 9271 (from memory): in a quoted value quote and backslash stand after a backslash."""
    assert variables([r'VAR van ups.id "say \"hi\" \\ bye"']) == [Variable("ups.id", r'say "hi" \ bye')]
    with pytest.raises(UpsError, match="UNKNOWN-UPS"):
        variables(["ERR UNKNOWN-UPS"])
