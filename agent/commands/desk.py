"""`peakshade desk`: takes what the terminals forward into one database, and shows it."""

import argparse
import asyncio
import logging
import os
import subprocess
import sys
from pathlib import Path

import aiomqtt

from agent.commands.broker_place import add_broker_place
from agent.config_desk import DeskConfig, load_desk_config
from agent.config_job import unix_s_from_rfc3339
from agent.desk.mosquitto import DESK, add_accounts, check_names, forward_section, write_desk_files
from agent.desk.worker import Worker
from agent.errors import UsageError
from agent.event_loop import run_until_done, stop_on_signals
from agent.forward.outbox import Hours, want_text
from agent.inputs.collectors.frame import OwnThread
from agent.inputs.messages import WANT, desk_topic
from agent.inputs.mosquitto import CERTIFICATE, CONFIG
from agent.inputs.mqtt import publishing_client
from agent.service.console import log_to_terminal, say
from agent.service.page import keep_serving

SUMMARY = "one database of many terminals: take in what they forward, and show it"
EXAMPLE = (
    "peakshade desk desk.toml\n"
    "         peakshade desk desk.toml --mosquitto broker --broker-host 192.0.2.7 --accounts van-1 van-2"
)
LOG = logging.getLogger(__name__)

RESTART_S = 1.0
ASK_WITHIN_S = 10.0
ENDS_WITHIN_S = 10.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The desk's config, and whether this process is one of the workers."""
    parser.add_argument("config", type=Path, help="the desk's config file")
    parser.add_argument(
        "--single", metavar="TERMINAL", help="ask this terminal for every reading of some hours"
    )
    parser.add_argument("--from", dest="start", metavar="TIME", help="RFC 3339, with --single")
    parser.add_argument("--to", dest="end", metavar="TIME", help="the like; they come as its budget allows")
    parser.add_argument(
        "--mosquitto",
        type=Path,
        metavar="FOLDER",
        help="instead: write the whole config of the desk's Mosquitto (rights, TLS), or add accounts to it",
    )
    parser.add_argument("--accounts", nargs="+", default=[], metavar="TERMINAL", help="with --mosquitto")
    add_broker_place(parser, "terminals and workers")
    parser.add_argument("--no-dashboard", action="store_true", help="do not serve the pages")
    parser.add_argument("--link", metavar="TERMINAL", help="print links to the pages of one terminal alone")
    parser.add_argument(
        "--work", action="store_true", help="be one more worker, in this process, on this computer or another"
    )


def run(args: argparse.Namespace) -> int:
    """Run until interrupted."""
    if args.mosquitto is not None:
        return _write_mosquitto(args)
    config = load_desk_config(args.config, os.environ)
    if args.link is not None:
        command = [sys.executable, "-P", "-m", "dashboard", "--desk", str(config.path), "--link", args.link]
        return subprocess.run(command, check=False).returncode
    if args.single is not None:
        run_until_done(_ask(config, args.single, _hours(args.start, args.end)))
        return 0
    log_to_terminal()
    run_until_done(_work(config) if args.work else _desk(config, args.no_dashboard))
    return 0


def _write_mosquitto(args: argparse.Namespace) -> int:
    folder, host, port = args.mosquitto, args.broker_host, args.broker_port
    check_names(args.accounts, {DESK})
    if not folder.exists():
        section = write_desk_files(host, port, folder)
        sys.stdout.write(
            f"{folder} written. Start the broker with: mosquitto -c {folder / CONFIG}\n"
            f"Put this into {args.config}:\n\n{section}\n"
        )
    elif not args.accounts:
        raise UsageError(f"{folder}: exists already; name another one, or --accounts to add to it")
    add_accounts(folder, args.accounts)
    if args.accounts:
        sys.stdout.write(
            f"{len(args.accounts)} accounts added; a broker that runs reads them on SIGHUP. Each terminal"
            f" gets {folder / CERTIFICATE} and its own {folder}/TERMINAL.password beside its config, and in"
            f" it:\n\n{forward_section(host, port)}"
        )
    return 0


def _hours(start: str | None, end: str | None) -> Hours:
    from_unix_s, to_unix_s = (None if text is None else unix_s_from_rfc3339(text) for text in (start, end))
    if from_unix_s is None or to_unix_s is None or from_unix_s >= to_unix_s:
        raise UsageError(
            f"--single: the hours are {start} to {end}; expected --from and --to, the later one last, such as"
            " 2026-07-18T09:00:00Z"
        )
    return Hours(from_unix_s=from_unix_s, to_unix_s=to_unix_s)


async def _ask(config: DeskConfig, terminal: str, hours: Hours) -> None:
    """The broker keeps the wish until the terminal hears it."""
    try:
        async with publishing_client(config.broker, ASK_WITHIN_S) as client:
            await client.publish(desk_topic(terminal, WANT), want_text(hours), qos=1, retain=True)
    except aiomqtt.MqttError as error:
        raise UsageError(
            f"broker {config.broker.host}:{config.broker.port}: {error}; is it running?"
        ) from None
    say(f"{terminal} is asked")


async def _work(config: DeskConfig) -> None:
    stop = stop_on_signals()
    working = asyncio.ensure_future(Worker(config).run())
    stopping = asyncio.ensure_future(stop.wait())
    await asyncio.wait((working, stopping), return_when=asyncio.FIRST_COMPLETED)
    working.cancel()
    stopping.cancel()
    await asyncio.gather(working, stopping, return_exceptions=True)
    if not working.cancelled():
        working.result()


async def _desk(config: DeskConfig, no_pages: bool) -> None:
    stop = stop_on_signals()
    say(f"{config.workers} workers of the desk; end with Ctrl-C")
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(_keep_worker(config)) for _ in range(config.workers)]
        if not no_pages:
            pages = keep_serving(config.dashboard, ["--desk", str(config.path)], os.environ)
            tasks.append(group.create_task(pages))
        await stop.wait()
        for task in tasks:
            task.cancel()


async def _keep_worker(config: DeskConfig) -> None:
    """A worker in a process of its own; where it ends it is started again."""
    command = [sys.executable, "-P", "-m", "agent", "desk", str(config.path), "--work"]
    while True:
        process = subprocess.Popen(command)  # noqa: ASYNC220 - takes milliseconds
        try:
            code = await OwnThread().run(process.wait)
        finally:
            if process.poll() is None:
                process.terminate()
                await asyncio.to_thread(process.wait, ENDS_WITHIN_S)
        LOG.error("a worker has ended (%d); another one starts in %.0f s", code, RESTART_S)
        await asyncio.sleep(RESTART_S)
