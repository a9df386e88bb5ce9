"""The dashboard as a process of its own beside the agent."""

import asyncio
import logging
import sys

from agent.config import LOOPBACK, Config
from agent.inputs.mqtt import EVERY_ADDRESS, connect_host
from agent.service.console import say

LOG = logging.getLogger(__name__)

STARTS_WITHIN_S = 30.0
ENDS_WITHIN_S = 5.0
LOOK_EVERY_S = 0.1


async def serve_page(config: Config, speed: float) -> None:
    """Serve the store's pages until cancelled, and say where.

    The agent does not depend on it: where it cannot start, or ends, the agent only says so.
    """
    host, port = config.dashboard.host, config.dashboard.port
    options = {
        "--store": config.store.path,
        "--mqtt-host": connect_host(config.broker),
        "--mqtt-port": config.broker.port,
        "--host": host,
        "--port": port,
        "--terminal": config.job.terminal,
        "--speed": speed,
    }
    words = [str(word) for option in options.items() for word in option]
    process = await asyncio.create_subprocess_exec(sys.executable, "-m", "dashboard", *words)
    try:
        reached = LOOPBACK if host in EVERY_ADDRESS else host
        if await _answers(process, reached, port):
            say(f"open http://{reached}:{port}/")
        code = await process.wait()
        LOG.error("the dashboard has ended (%d); the agent runs on without it", code)
    finally:
        await _end(process)


async def _answers(process: asyncio.subprocess.Process, host: str, port: int) -> bool:
    deadline_s = asyncio.get_running_loop().time() + STARTS_WITHIN_S
    while asyncio.get_running_loop().time() < deadline_s and process.returncode is None:
        try:
            _, writer = await asyncio.open_connection(host, port)
        except OSError:
            await asyncio.sleep(LOOK_EVERY_S)
            continue
        writer.close()
        await writer.wait_closed()
        # Where another program has the port, the dashboard ends as soon as it tries to listen.
        await asyncio.sleep(LOOK_EVERY_S)
        return process.returncode is None
    LOG.error("the dashboard does not answer at %s:%d", host, port)
    return False


async def _end(process: asyncio.subprocess.Process) -> None:
    if process.returncode is not None:
        return
    process.terminate()
    try:
        await asyncio.wait_for(process.wait(), ENDS_WITHIN_S)
    except TimeoutError:
        process.kill()
        await process.wait()
