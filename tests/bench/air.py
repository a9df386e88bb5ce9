"""`python -m tests.bench.air [MINUTES]`: what a terminal's line to the desk carries, counted by the kernel.

A bundled day, minute by minute as it goes, through TLS to a Mosquitto with the files of `peakshade desk
--mosquitto`, one worker and PostgreSQL. Of the terminal's socket the kernel tells bytes and segments; each
segment has 52 bytes of headers besides (IPv4 20, TCP 20 and 12 of time stamps, RFC 7323).
"""

import asyncio
import re
import subprocess
import sys
import tempfile
import time
from contextlib import AsyncExitStack
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from pydantic import SecretStr

from agent.config import LOOPBACK, BrokerSettings
from agent.config_desk import DeskConfig, DeskDatabase, load_desk_config
from agent.desk.mosquitto import add_accounts, write_desk_files
from agent.desk.worker import Worker
from agent.inputs.mosquitto import CERTIFICATE, CONFIG, password_file
from agent.records import AnyReading
from agent.replay.sessions import BUNDLED, read_session
from tests.desk.postgres import Postgres
from tests.desk.site import Site, shifted
from tests.processes import Mosquitto, free_port

DAY = "salt-pan-summer"
TERMINAL = "van-1"
HEADER_BYTES = 52
MINUTE_S = 60.0
MINUTES_A_DAY = 1440
# The hours before noon, in which everything is at work.
FROM_MINUTE = 120


@dataclass(frozen=True, slots=True)
class Carried:
    """Of a socket, both ways."""

    bytes: int
    segments: int

    @property
    def on_the_wire(self) -> int:
        """With headers."""
        return self.bytes + HEADER_BYTES * self.segments


def carried(port: int, local: str | None = None) -> tuple[str, Carried]:
    """The local address of a connection to this port, the first or that one, and what it has carried."""
    words = ["ss", "-tinHO", "state", "established", f"( dport = :{port} )"]
    for line in subprocess.run(words, check=True, capture_output=True, text=True).stdout.splitlines():
        own = line.split()[2]
        if local in (None, own):
            counts = {name: int(value) for name, value in re.findall(r"(\w+):(\d+)", line)}
            found = Carried(
                counts["bytes_sent"] + counts["bytes_received"], counts["segs_out"] + counts["segs_in"]
            )
            return own, found
    raise LookupError(f"no connection to port {port}")


def minutes_of_the_day(count: int) -> list[list[AnyReading]]:
    """Readings of so many minutes."""
    session = read_session(BUNDLED / DAY)
    start_unix_s = session.start_unix_s + FROM_MINUTE * MINUTE_S
    some = [one for one in session.readings if 0.0 <= one.unix_s - start_unix_s < count * MINUTE_S]
    return [
        list(group) for _, group in groupby(some, key=lambda one: (one.unix_s - start_unix_s) // MINUTE_S)
    ]


def installed(folder: Path, database: DeskDatabase, port: int) -> tuple[DeskConfig, BrokerSettings]:
    """The desk's config, and the broker as the terminal reaches it."""
    broker = folder / "broker"
    section = write_desk_files(LOOPBACK, port, broker)
    add_accounts(broker, [TERMINAL])
    config = folder / "desk.toml"
    config.write_text(f'{section}[database]\nconnect = "{database.connect}"\n')
    settings = BrokerSettings(
        embedded=False,
        host=LOOPBACK,
        port=port,
        tls=True,
        username=TERMINAL,
        password=SecretStr((broker / password_file(TERMINAL)).read_text().strip()),
        ca_file=broker / CERTIFICATE,
    )
    return load_desk_config(config, {}), settings


async def measured(folder: Path, database: DeskDatabase, minutes: int) -> tuple[Carried, Carried]:
    """What connecting and the first batches carry, and the minutes after them."""
    port = free_port()
    config, settings = installed(folder, database, port)
    broker = Mosquitto.of(folder / "broker" / CONFIG, port)
    broker.start()
    try:
        async with AsyncExitStack() as stack:
            site = await stack.enter_async_context(Site(folder, TERMINAL, settings).working())
            while not site.forwarder.connected:  # noqa: ASYNC110 - a bench
                await asyncio.sleep(0.1)
            own, _ = carried(port)
            worker = asyncio.create_task(Worker(config).run())
            stack.callback(worker.cancel)
            first: Carried | None = None
            for minute in minutes_of_the_day(minutes + 2):
                began_s = time.monotonic()
                await site.hear(shifted(minute, time.time() - minute[-1].unix_s))
                await asyncio.sleep(MINUTE_S - (time.monotonic() - began_s))
                # The first minute takes the plan along.
                first = first or carried(port, own)[1]
            _, last = carried(port, own)
            assert first is not None
            return first, Carried(last.bytes - first.bytes, last.segments - first.segments)
    finally:
        broker.stop()


def main(minutes: int = 10) -> None:
    """Print what was counted."""
    postgres = Postgres()
    try:
        postgres.start()
        with tempfile.TemporaryDirectory() as name:
            first, rest = asyncio.run(measured(Path(name), postgres.database(), minutes))
    finally:
        postgres.close()
    minute_bytes = rest.on_the_wire / (minutes + 1)
    print(
        f"connecting and the first minute, with the plan: {first.on_the_wire:,} bytes; then"
        f" {minute_bytes:,.0f} a minute in {rest.segments / (minutes + 1):.1f} segments,"
        f" {minute_bytes * MINUTES_A_DAY / 1e6:.2f} MB a day"
    )


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
