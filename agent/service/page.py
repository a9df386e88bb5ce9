"""The dashboard as a process of its own beside the agent."""

import asyncio
import logging
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import replace
from importlib.util import find_spec

from pydantic import TypeAdapter

from agent.config import ENVIRONMENT_PREFIX, LOOPBACK, Config, DashboardSettings
from agent.config_notify import NotifySettings
from agent.extras import install_line
from agent.inputs.collectors.frame import OwnThread
from agent.inputs.mqtt import EVERY_ADDRESS, connect_host
from agent.service.console import say

LOG = logging.getLogger(__name__)

LIBRARY = "dash"
STARTS_WITHIN_S = 30.0
ENDS_WITHIN_S = 3.0
RESTART_S = 1.0
USAGE = 2
LOOK_EVERY_S = 0.1
_ALARM = TypeAdapter(NotifySettings)


async def serve_page(config: Config, speed: float, ends_unix_s: float | None = None) -> None:
    """Serve the store's pages until cancelled; `ends_unix_s` is the end of a day that is played."""
    options = page_options(config, speed, ends_unix_s)
    await keep_serving(config.dashboard, options, page_environment(config))


async def keep_serving(dashboard: DashboardSettings, options: Sequence[str], env: Mapping[str, str]) -> None:
    """Serve pages until cancelled, and say where; where they end they are started again.

    Nothing else depends on them.
    """
    if find_spec(LIBRARY) is None:
        LOG.error("no pages: they need the library %s; %s", LIBRARY, install_line(LIBRARY))
        return
    while True:
        code = await _serve_once(dashboard, options, env)
        if code == USAGE:
            LOG.error("the dashboard cannot be started with this config; all else runs on without it")
            return
        LOG.error("the dashboard has ended (%d); it starts again in %.0f s", code, RESTART_S)
        await asyncio.sleep(RESTART_S)


async def _serve_once(dashboard: DashboardSettings, options: Sequence[str], env: Mapping[str, str]) -> int:
    """The pages' process, until it ends; its code. It ends when its standard input, a pipe, is closed."""
    host, port = dashboard.host, dashboard.port
    words = [sys.executable, "-P", "-m", "dashboard", *options, "--ends-with-parent"]
    process = subprocess.Popen(  # noqa: ASYNC220 - takes milliseconds
        words, env=env, stdin=subprocess.PIPE
    )
    try:
        reached = LOOPBACK if host in EVERY_ADDRESS else host
        if await _answers(process, reached, port):
            scheme = "http" if dashboard.certificate is None else "https"
            say(f"open {scheme}://{reached}:{port}/")
        return await OwnThread().run(process.wait)
    finally:
        await _end(process)


def page_options(config: Config, speed: float, ends_unix_s: float | None = None) -> list[str]:
    """The command line of the dashboard; no secret stands in it, since everybody on the computer reads it."""
    dashboard, broker = config.dashboard, config.broker
    options = {
        "--store": config.store.path,
        "--mqtt-host": connect_host(broker),
        "--mqtt-port": broker.port,
        "--mqtt-username": broker.username,
        "--mqtt-ca-file": broker.ca_file,
        "--host": dashboard.host,
        "--port": dashboard.port,
        "--public-host": dashboard.public_host,
        "--passcode-file": dashboard.passcode_file,
        "--certificate": dashboard.certificate,
        "--key": dashboard.key,
        "--terminal": config.job.terminal,
        "--speed": speed,
        "--ends-unix-s": ends_unix_s,
        "--alarm": alarm_text(config.notify),
        "--rules": config.rules,
        "--rules-folder": config.path.parent,
    }
    given = [str(word) for option in options.items() if option[1] is not None for word in option]
    return [*given, "--mqtt-tls"] if broker.tls else given


def alarm_text(settings: NotifySettings) -> str:
    """When the page may ring, as JSON; neither the command nor the addresses that alerts go out by."""
    return _ALARM.dump_json(replace(settings, command=(), urls_file=None)).decode()


def page_environment(config: Config) -> dict[str, str]:
    """The agent's environment with the broker's password as the dashboard expects it."""
    password = config.broker.password
    if password is None:
        return dict(os.environ)
    return {**os.environ, f"{ENVIRONMENT_PREFIX}BROKER__PASSWORD": password.get_secret_value()}


async def _answers(process: subprocess.Popen[bytes], host: str, port: int) -> bool:
    deadline_s = asyncio.get_running_loop().time() + STARTS_WITHIN_S
    while asyncio.get_running_loop().time() < deadline_s and process.poll() is None:
        try:
            _, writer = await asyncio.open_connection(host, port)
        except OSError:
            await asyncio.sleep(LOOK_EVERY_S)
            continue
        writer.close()
        await writer.wait_closed()
        # Where another program has the port, the dashboard ends as soon as it tries to listen.
        await asyncio.sleep(LOOK_EVERY_S)
        return process.poll() is None
    LOG.error("the dashboard does not answer at %s:%d", host, port)
    return False


async def _end(process: subprocess.Popen[bytes]) -> None:
    if process.stdin is not None:
        process.stdin.close()
    if process.poll() is not None:
        return
    process.terminate()
    try:
        await asyncio.to_thread(process.wait, ENDS_WITHIN_S)
    except subprocess.TimeoutExpired:
        process.kill()
        await asyncio.to_thread(process.wait)
