"""`peakshade respond`: the other end of a test of the rate, on a computer beyond the satellite."""

import argparse
import os
from pathlib import Path

from agent.errors import UsageError
from agent.event_loop import run_until_done, stop_on_signals
from agent.inputs.rates.responder import ResponderSettings, start_responder
from agent.service.console import log_to_terminal, say

SUMMARY = "answer tests of the rate, on a computer beyond the satellite"
EXAMPLE = "peakshade respond 192.0.2.7 --token-file token.txt"

TOKEN_VARIABLE = "PEAKSHADE__RESPOND__TOKEN"
LEAST_TOKEN = 16
DEFAULT_PORT = 8765
# A test every half hour of two terminals takes less than a tenth of it.
DEFAULT_HOUR_MB = 2000.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Where to listen, for whom, and how much."""
    parser.add_argument("address", help="the address of this computer to listen on, and no other")
    parser.add_argument("--port", type=int, default=DEFAULT_PORT, help="TCP port (%(default)s)")
    parser.add_argument(
        "--token-file",
        type=Path,
        metavar="PATH",
        help=f"file with the token that tests have to bring (or set {TOKEN_VARIABLE})",
    )
    parser.add_argument(
        "--hour-mb", type=float, default=DEFAULT_HOUR_MB, help="megabytes an hour at most (%(default)g)"
    )


def run(args: argparse.Namespace) -> int:
    """Answer until interrupted."""
    if not 1 <= args.port <= 65_535:
        raise UsageError(f"--port {args.port}: expected a number from 1 to 65535")
    if not args.hour_mb > 0.0:
        raise UsageError(f"--hour-mb {args.hour_mb:g}: expected more than 0")
    settings = ResponderSettings(
        host=args.address,
        port=args.port,
        token=_token(args.token_file),
        hour_bytes=int(args.hour_mb * 1e6),
    )
    log_to_terminal()
    run_until_done(_respond(settings))
    return 0


async def _respond(settings: ResponderSettings) -> None:
    stop = stop_on_signals()
    try:
        server = await start_responder(settings)
    except OSError as error:
        raise UsageError(
            f"cannot listen on {settings.host}:{settings.port} ({error.strerror}); name an address of this"
            " computer and a free port"
        ) from error
    where = f"http://{settings.host}:{settings.port}"
    say(f"answering at {where}/down and {where}/up; not encrypted: the token can be read on the way")
    say("end with Ctrl-C")
    await stop.wait()
    server.close()


def _token(path: Path | None) -> str:
    try:
        token = os.environ.get(TOKEN_VARIABLE, "") if path is None else path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"--token-file {path}: cannot be read ({error})") from error
    token = token.strip()
    if len(token) < LEAST_TOKEN or not (token.isascii() and token.isprintable()):
        raise UsageError(
            f"the token has {len(token)} characters; expected {LEAST_TOKEN} or more plain letters and digits,"
            f" by --token-file or {TOKEN_VARIABLE}; make one with: openssl rand -hex 16"
        )
    return token
