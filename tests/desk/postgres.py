"""A real PostgreSQL for tests: a cluster of its own in a temporary folder, on a port that is free."""

import itertools
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
from pathlib import Path

import psycopg
import pytest

from agent.config import LOOPBACK
from agent.config_desk import DeskDatabase
from tests.processes import PATIENCE_S, free_port, wait_until

# It refuses to run as root; Debian's package brings this user.
USER = "postgres"
SETTINGS = ("listen_addresses=127.0.0.1", "unix_socket_directories=", "shared_buffers=32MB")


def program(name: str) -> str:
    """Debian keeps the server's programs off the path, by version."""
    places = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"))
    found = shutil.which(name) or (str(places[-1]) if places else None)
    if found is None:
        pytest.skip(f"no {name} of PostgreSQL (Debian package: postgresql)")
    return found


class Postgres:
    """One cluster; every test has a database of its own in it."""

    def __init__(self) -> None:
        server, initdb = program("postgres"), program("initdb")
        self._user = USER if os.geteuid() == 0 else None
        self._folder = Path(tempfile.mkdtemp(prefix="peakshade-desk-"))
        data = self._folder / "data"
        if self._user is not None:
            account = pwd.getpwnam(self._user)
            os.chown(self._folder, account.pw_uid, account.pw_gid)
        self.port = free_port()
        self._numbers = itertools.count(1)
        self._process: subprocess.Popen[bytes] | None = None
        making = [
            initdb,
            "-D",
            str(data),
            "-U",
            "desk",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        ]
        subprocess.run(making, check=True, capture_output=True, user=self._user, cwd=self._folder)
        settings = [word for one in SETTINGS for word in ("-c", one)]
        self._command = [server, "-D", str(data), "-p", str(self.port), *settings]
        self._log = (self._folder / "log").open("wb")

    def start(self) -> None:
        """On return it answers."""
        wait_until(self._runs, PATIENCE_S, "PostgreSQL answers")

    def _runs(self) -> bool:
        if self._process is None or self._process.poll() is not None:
            # What a killed one has left may stand in the way for a moment.
            self._process = subprocess.Popen(
                self._command, user=self._user, cwd=self._folder, stdout=self._log, stderr=self._log
            )
        try:
            psycopg.connect(self._connect("postgres"), connect_timeout=2).close()
        except psycopg.OperationalError:
            return False
        return True

    def kill(self) -> None:
        """As a power cut would end it."""
        assert self._process is not None
        self._process.send_signal(signal.SIGKILL)
        self._process.wait(PATIENCE_S)

    def close(self) -> None:
        """End it and take its folder away."""
        if self._process is not None and self._process.poll() is None:
            self._process.send_signal(signal.SIGQUIT)
            self._process.wait(PATIENCE_S)
        self._log.close()
        shutil.rmtree(self._folder)

    def _connect(self, name: str) -> str:
        return f"host={LOOPBACK} port={self.port} user=desk dbname={name}"

    def database(self) -> DeskDatabase:
        """A new, empty one."""
        name = f"desk_{next(self._numbers)}"
        with psycopg.connect(self._connect("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}".encode())
        return DeskDatabase(connect=self._connect(name))
