"""What the live agent costs that reads everything itself: `python -m tests.bench.live [MINUTES]`.

Its inputs are on this computer: an HTTP device, a line instrument and a GNSS receiver over TCP, 1-Wire and
hardware thermometers as trees of files, interface counters, and probes of the loopback. Together they give
five readings a second; the broker is the agent's own.
"""

import asyncio
import json
import sys
import tempfile
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from statistics import linear_regression

import psutil

from agent.config import LOOPBACK
from tests.job_text import JOB_TOML
from tests.live import ROOT, stored_count
from tests.processes import free_port, listens, wait_until

MINUTES = 5.0
SETTLE_S = 60.0
STARTS_WITHIN_S = 120.0
LOOK_EVERY_S = 1.0
MOST_MEMORY_MB = 80.0
MOST_PROCESSOR_PERCENT = 3.0
POSITION = b"$GPGGA,090000,3715.0000,N,00657.0000,W,1,08,0.9,12.0,M,46.9,M,,*64\r\n"
STATUS = json.dumps({"rx": {"esno": 13.9}}).encode()

CONFIG = """
[broker]
port = {broker}

[store]
path = "{folder}/store.sqlite3"

[[inputs.http]]
name = "modem"
url = "http://{host}:{http}/"
every_s = 1.0
[inputs.http.readings.signal]
esno_db = "/rx/esno"

[[inputs.line]]
address = "tcp://{host}:{line}"
pattern = 'T=(?P<air>[-0-9.]+)'
[inputs.line.readings.weather]
air_degc = "air"

[[inputs.gnss]]
address = "tcp://{host}:{gnss}"

[[inputs.onewire]]
sensor = "28-000000000001"
where = "transmitter"
base = "{folder}/w1"
every_s = 1.0

[[inputs.hwmon]]
chip = "board"
where = "computer"
base = "{folder}/hwmon"
every_s = 1.0

[[inputs.counters]]
interface = "lo"
every_s = 1.0

[[inputs.reachability]]
target = "{host}"
gateway = "{host}"
method = "tcp"
every_s = 1.0
"""


@asynccontextmanager
async def instruments() -> AsyncIterator[dict[str, int]]:
    """Ports of what the agent reads over the network."""
    ended = asyncio.Event()

    async def http(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        while line := await reader.readline():
            if not line.strip():
                writer.write(b"HTTP/1.1 200 OK\r\nContent-Length: %d\r\n\r\n" % len(STATUS) + STATUS)

    def speaking(line: bytes) -> Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]:
        async def speak(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
            while not ended.is_set():
                writer.write(line)
                await writer.drain()
                await asyncio.sleep(1.0)

        return speak

    handlers = {"http": http, "line": speaking(b"T=31.5\r\n"), "gnss": speaking(POSITION)}
    servers = {name: await asyncio.start_server(one, LOOPBACK, 0) for name, one in handlers.items()}
    try:
        yield {name: server.sockets[0].getsockname()[1] for name, server in servers.items()}
    finally:
        ended.set()
        for server in servers.values():
            server.close()
        # Each speaker ends with its next line.
        await asyncio.sleep(2.0)


def write_trees(folder: Path) -> None:
    """Thermometers as the Linux kernel shows them."""
    (folder / "w1" / "28-000000000001").mkdir(parents=True)
    (folder / "w1" / "28-000000000001" / "w1_slave").write_text("aa : crc=aa YES\naa t=41500\n")
    (folder / "hwmon" / "hwmon0").mkdir(parents=True)
    (folder / "hwmon" / "hwmon0" / "name").write_text("board\n")
    (folder / "hwmon" / "hwmon0" / "temp1_input").write_text("52000\n")


async def measure(folder: Path, minutes: float) -> None:
    """Run the agent and print what it takes."""
    write_trees(folder)
    async with instruments() as ports:
        config, port = folder / "config.toml", free_port()
        config.write_text(JOB_TOML + CONFIG.format(folder=folder, host=LOOPBACK, broker=port, **ports))
        words = [sys.executable, "-m", "agent", "run", str(config), "--no-dashboard"]
        process = await asyncio.create_subprocess_exec(*words, cwd=ROOT)
        try:
            await asyncio.to_thread(wait_until, lambda: listens(port), STARTS_WITHIN_S, "the agent runs")
            await asyncio.sleep(SETTLE_S)
            await watch(psutil.Process(process.pid), folder / "store.sqlite3", minutes * 60.0)
        finally:
            process.terminate()
            await process.wait()


async def watch(process: psutil.Process, store: Path, seconds: float) -> None:
    """Look for so long."""
    start_s, before, count = time.monotonic(), process.cpu_times(), stored_count(store)
    at_s: list[float] = []
    resident_mb: list[float] = []
    while time.monotonic() - start_s < seconds:
        await asyncio.sleep(LOOK_EVERY_S)
        at_s.append(time.monotonic() - start_s)
        resident_mb.append(process.memory_info().rss / 1e6)
    after, now_s = process.cpu_times(), time.monotonic()
    took_s = after.user + after.system - before.user - before.system
    share = 100.0 * took_s / (now_s - start_s)
    growth_mb_h = linear_regression(at_s, resident_mb).slope * 3600.0
    print(f"readings stored     {(stored_count(store) - count) / (now_s - start_s):8.1f} a second")
    print(f"resident, most      {max(resident_mb):8.1f} MB   (limit {MOST_MEMORY_MB:g})")
    print(f"resident, trend     {growth_mb_h:8.2f} MB an hour, from {seconds / 60:g} minutes")
    print(f"resident, in 1 hour {resident_mb[-1] + growth_mb_h:8.1f} MB   if that trend held")
    print(f"processor           {share:8.2f} % of a core   (limit {MOST_PROCESSOR_PERCENT:g})")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        asyncio.run(measure(Path(made), float(sys.argv[1]) if len(sys.argv) > 1 else MINUTES))
