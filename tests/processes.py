"""Real programs for tests: a Mosquitto broker, and ports that are free."""

import os
import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable
from contextlib import suppress
from itertools import count
from pathlib import Path
from typing import Self

import pytest

from agent.config import LOOPBACK, BrokerSettings
from agent.inputs.mosquitto import keeping_text
from agent.inputs.mqtt import MAX_IN_FLIGHT

# Far above what anything takes on an idle computer: tests wait for events, and a loaded one is slow.
PATIENCE_S = 120.0
LOOK_EVERY_S = 0.02
# What is promised in seconds is promised of a computer that does nothing else. One that runs several programs
# a core may take so many times as long.
LOADED = 6.0


# Below what systems give to programs that ask for any port (Linux: 32768, others: 49152). Each process of a
# suite has a hundred of its own to begin with, so that two do not find the same one free, as it is while a
# test starts its broker again; those with neighbouring numbers begin thousands apart.
_ports = count(11_000 + os.getpid() * 77 % 200 * 100)


def free_port() -> int:
    """A port on which nobody listens, which no other test is given."""
    for port in _ports:
        with socket.socket() as probe, suppress(OSError):
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            probe.bind((LOOPBACK, port))
            return port
    raise AssertionError("no port is free")


def listens(port: int) -> bool:
    """Whether something accepts connections there."""
    with socket.socket() as probe:
        probe.settimeout(0.5)
        return probe.connect_ex((LOOPBACK, port)) == 0


def wait_until(true: Callable[[], bool], within_s: float, what: str) -> None:
    """Return as soon as it is true; fail where it is not in time."""
    deadline_s = time.monotonic() + within_s
    while not true():
        assert time.monotonic() < deadline_s, f"not within {within_s:g} s: {what}"
        time.sleep(LOOK_EVERY_S)


def broker_at(port: int, embedded: bool = False) -> BrokerSettings:
    """How the agent is told of a broker on this computer."""
    return BrokerSettings(
        embedded=embedded, host=LOOPBACK, port=port, tls=False, username=None, password=None
    )


class Mosquitto:
    """The broker of most installations, with sessions that survive its restart."""

    def __init__(self, folder: Path, in_flight: int = 20, more: str = "") -> None:
        """`in_flight` messages may be delivered and not acknowledged; 20 is Mosquitto's own default.

        `more` stands at the end of its config.
        """
        port, config = free_port(), folder / "mosquitto.conf"
        key = "max_inflight_messages"
        keeping = keeping_text(folder).replace(f"{key} {MAX_IN_FLIGHT}", f"{key} {in_flight}")
        config.write_text(f"listener {port} {LOOPBACK}\nallow_anonymous true\n{keeping}\n{more}")
        self._use(config, port)

    @classmethod
    def of(cls, config: Path, port: int) -> Self:
        """With a config that the product has written."""
        broker = cls.__new__(cls)
        broker._use(config, port)
        return broker

    def _use(self, config: Path, port: int) -> None:
        executable = shutil.which("mosquitto") or shutil.which("/usr/sbin/mosquitto")
        if executable is None:
            pytest.skip("no mosquitto binary on the path (Debian package: mosquitto)")
        with config.open("a") as file:
            # Where the tests run as root, it would become a user that may not read the test's folder.
            file.write("\nuser root\nlog_type error\n")
        self.port = port
        self._command = [executable, "-c", str(config)]
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def settings(self) -> BrokerSettings:
        """How the agent is told of it."""
        return broker_at(self.port)

    def start(self) -> None:
        """Listen; on return it does."""
        self._process = subprocess.Popen(self._command)
        wait_until(lambda: listens(self.port), PATIENCE_S, "mosquitto listens")

    def pause(self) -> None:
        """Stand still without a word, as a network that is cut looks from the other end."""
        self._signal(signal.SIGSTOP)

    def go_on(self) -> None:
        """After a pause."""
        self._signal(signal.SIGCONT)

    def read_again(self) -> None:
        """Its accounts, which have changed."""
        self._signal(signal.SIGHUP)

    def kill(self) -> None:
        """As a power cut would end it."""
        self._signal(signal.SIGKILL)
        assert self._process is not None
        self._process.wait(PATIENCE_S)
        self._process = None

    def _signal(self, number: signal.Signals) -> None:
        assert self._process is not None
        self._process.send_signal(number)

    def stop(self) -> None:
        """End as the system would end it; sessions are saved."""
        if self._process is not None:
            self._signal(signal.SIGTERM)
            # One that was paused hears it when it goes on.
            self._signal(signal.SIGCONT)
            self._process.wait(PATIENCE_S)
            self._process = None
