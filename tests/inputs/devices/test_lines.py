"""Line instruments and GNSS receivers at a serial port (a pseudo-terminal) and at a TCP port."""

import os
import pty
import socket
import threading
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest

from agent.config import LOOPBACK
from agent.inputs.devices.nmea import checksum
from tests.inputs.collectors.inputs_at_work import AtWork, at_work
from tests.processes import PATIENCE_S, free_port, wait_until

LINE = """
[[inputs.line]]
address = "ADDRESS"
pattern = 'T=(?P<t>[-+0-9.]+) C, W=(?P<w>[0-9.]+) kn'
every_s = 0.2
expect_s = EXPECT
[inputs.line.readings.weather]
air_degc = "t"
wind_m_s = { source = "w", unit = "kn" }
"""
GNSS = """
[[inputs.gnss]]
address = "ADDRESS"
every_s = 0.2
expect_s = 1.5
"""
# 10 kn by the definition of the nautical mile, 1852 m.
READING = {"air_degc": 31.5, "wind_m_s": pytest.approx(10 * 1852 / 3600)}
GOOD = b"T=+31.5 C, W=10 kn\r\n"


class Serial:
    """An instrument at the other end of a pseudo-terminal that a link names, as udev does."""

    def __init__(self, folder: Path) -> None:
        self.address = folder / "instrument"
        self._ends: tuple[int, int] | None = None

    def plug_in(self) -> None:
        """The port is there."""
        self._ends = pty.openpty()
        tty.setraw(self._ends[1])
        self.address.symlink_to(os.ttyname(self._ends[1]))

    def write(self, text: bytes) -> None:
        """What the instrument says."""
        assert self._ends is not None
        os.write(self._ends[0], text)

    def pull_out(self) -> None:
        """The port is gone, also for who has it open."""
        if self._ends is not None:
            for end in self._ends:
                os.close(end)
            self.address.unlink()
            self._ends = None


class Tcp:
    """An instrument behind a serial server in the network: whoever connects hears it."""

    def __init__(self) -> None:
        self.port = free_port()
        self.address = f"tcp://{LOOPBACK}:{self.port}"
        self._listener: socket.socket | None = None
        self._ears: list[socket.socket] = []

    def plug_in(self) -> None:
        """The port is there."""
        self._listener = socket.create_server((LOOPBACK, self.port))
        threading.Thread(target=self._accept, args=(self._listener,), daemon=True).start()

    def _accept(self, listener: socket.socket) -> None:
        while True:
            try:
                self._ears.append(listener.accept()[0])
            except OSError:
                return

    def write(self, text: bytes) -> None:
        """What the instrument says."""
        for ear in list(self._ears):
            try:
                ear.sendall(text)
            except OSError:
                self._ears.remove(ear)
                ear.close()

    def pull_out(self) -> None:
        """The port is gone, also for who has it open."""
        if self._listener is not None:
            self._listener.shutdown(socket.SHUT_RDWR)
            self._listener.close()
        for ear in self._ears:
            ear.close()
        self._listener, self._ears = None, []


Instrument = Serial | Tcp


@pytest.fixture(params=["serial", "tcp"])
def instrument(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Instrument]:
    """Not plugged in yet."""
    made = Serial(tmp_path) if request.param == "serial" else Tcp()
    yield made
    made.pull_out()


def line_at(instrument: Instrument, expect_s: float = 600.0) -> str:
    return LINE.replace("ADDRESS", str(instrument.address)).replace("EXPECT", str(expect_s))


def say_until(instrument: Instrument, text: bytes, work: AtWork, count: int = 1) -> list[dict[str, object]]:
    """Repeat a line, as instruments do, until so many more readings have come."""
    before = len(work.readings("weather"))

    def said() -> bool:
        instrument.write(text)
        return len(work.readings("weather")) >= before + count

    wait_until(said, PATIENCE_S, "readings of the lines")
    return work.readings("weather")[before : before + count]


def test_lines_become_readings(instrument: Instrument, tmp_path: Path) -> None:
    instrument.plug_in()
    with at_work(tmp_path, line_at(instrument)) as work:
        # The first line is often only its end, and there are others in between.
        assert say_until(instrument, b"5 C, W=3\r\n# boot\r\n" + GOOD, work, 2) == [READING, READING]
        assert work.states[0].failures == 0


def test_absent_silent_pulled_out_and_plugged_in_again(instrument: Instrument, tmp_path: Path) -> None:
    with at_work(tmp_path, line_at(instrument, expect_s=1.5)) as work:
        assert "address and baud" in work.wait_error(str(instrument.address))
        instrument.plug_in()
        say_until(instrument, GOOD, work)
        work.wait_error("silent for 1.5 s")
        say_until(instrument, GOOD, work)
        instrument.pull_out()
        work.wait_error(str(instrument.address))
        instrument.plug_in()
        say_until(instrument, GOOD, work)


@pytest.mark.parametrize(
    ("rubbish", "said"),
    [
        (b"something else\r\n", "no line fits"),
        (b"\xf0\x81\x99\x00" * 64 + b"\n", "no line fits"),
        (b"x" * 1000, "is the speed (baud) right"),
        (b"T=+931.5 C, W=10 kn\r\n", "air_degc is 931.5"),
    ],
)
def test_rubbish_and_lies(instrument: Instrument, tmp_path: Path, rubbish: bytes, said: str) -> None:
    instrument.plug_in()
    with at_work(tmp_path, line_at(instrument)) as work:

        def refused() -> bool:
            instrument.write(rubbish)
            return said in (work.states[0].error or "")

        wait_until(refused, PATIENCE_S, said)
        assert not work.published


def sentence(body: str) -> bytes:
    """With its checksum."""
    return f"${body}*{checksum(body):02X}\r\n".encode()


def gga(latitude: str, longitude: str, quality: int = 1) -> bytes:
    return sentence(f"GPGGA,101500,{latitude},N,{longitude},W,{quality},08,0.9,12.0,M,46.9,M,,")


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        # The job's site is 37.25 N, 6.95 W.
        (gga("3715.000", "00657.000"), None),
        (gga("3715.100", "00657.000"), None),
        # A minute of latitude is a nautical mile of 1852 m within 0.5 %: 7.56 minutes are 14 km.
        (gga("3722.560", "00657.000"), "the config's site is 14 km away"),
        (gga("0000.000", "00000.000"), "the config's site is 42"),
    ],
)
def test_the_site_is_compared(
    instrument: Instrument, tmp_path: Path, said: bytes, expected: str | None
) -> None:
    instrument.plug_in()
    with at_work(tmp_path, GNSS.replace("ADDRESS", str(instrument.address))) as work:
        state = work.states[0]

        def heard() -> bool:
            instrument.write(b"\x00\xffnoise\r\n" + sentence("GPTXT,01,01,02,hello") + said)
            return state.state == "ok" and bool(state.finding) == bool(expected)

        wait_until(heard, PATIENCE_S, "a position")
        assert (state.finding or "").startswith(expected or "")


@pytest.mark.parametrize(
    ("said", "error"),
    [
        (gga("3715.000", "00657.000", quality=0), "no fix"),
        (sentence("GPRMC,101500,V,,,,,,,180726,,"), "no fix"),
        (gga("3715.000", "00657.000")[:-4] + b"00\r\n", "checksum"),
        (gga("9915.000", "00657.000"), "at most 90"),
        (sentence("GPGSV,1,1,00"), "no sentence with a position"),
    ],
)
def test_what_is_no_position_is_said(instrument: Instrument, tmp_path: Path, said: bytes, error: str) -> None:
    instrument.plug_in()
    with at_work(tmp_path, GNSS.replace("ADDRESS", str(instrument.address))) as work:

        def failed() -> bool:
            instrument.write(said)
            return error in (work.states[0].error or "")

        wait_until(failed, PATIENCE_S, error)
