"""`python -m dashboard`: serves the pages."""

import argparse
import os
import socket
import sys
import threading
import time
from collections.abc import Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import segno
from cheroot.ssl.builtin import BuiltinSSLAdapter
from dash import Dash
from pydantic import TypeAdapter

from agent.config_desk import load_desk_config
from agent.config_notify import NotifySettings
from agent.errors import UsageError
from dashboard import words
from dashboard.access.fair_turns import FairServer
from dashboard.access.gate import (
    SHORTEST_PASSCODE,
    VALID_S,
    Gate,
    Role,
    gate_of,
    is_loopback,
)
from dashboard.access.request_guard import ENTER, MAX_BODY_BYTES
from dashboard.app import build_app
from dashboard.respawn import ENDED, USAGE, serve_again
from dashboard.settings import DESK_SILENT_AFTER_S, SILENT_AFTER_S, Settings

# Each viewer asks every three seconds and is answered in hundredths: enough for all to ask at once.
THREADS = 16
# Cookies and all; a link has some 150 bytes.
MAX_HEADER_BYTES = 16_384
# Of a sender in the midst of a request.
LONGEST_PAUSE_S = 5
# Connections that the system holds until the server takes them; one more waits a second before it asks again.
MOST_UNHEARD = 128
EVERY_ADDRESS = ("0.0.0.0", "::")
# The same as for the agent; a command line is readable by everybody on the computer.
BROKER_PASSWORD_VARIABLE = "PEAKSHADE__BROKER__PASSWORD"
LINKS: tuple[tuple[str, Role], ...] = ((words.CREW_LINK, "crew"), (words.GUEST_LINK, "guest"))
PASSCODE_VARIABLE = "PEAKSHADE_DASHBOARD_PASSCODE"


def main(argv: Sequence[str] | None = None) -> int:
    """Serve until interrupted. Returns 2 for a usage error."""
    args = _parser().parse_args(argv)
    try:
        args = _with_desk(args)
    except UsageError as error:
        sys.stderr.write(f"dashboard: {error}\n")
        return USAGE
    usual_silence_s = SILENT_AFTER_S if args.database is None else DESK_SILENT_AFTER_S
    settings = Settings(
        store=args.database or args.store,
        mqtt_host=args.mqtt_host,
        mqtt_port=args.mqtt_port,
        mqtt_username=args.mqtt_username,
        mqtt_password=os.environ.get(BROKER_PASSWORD_VARIABLE),
        mqtt_tls=args.mqtt_tls,
        mqtt_ca_file=args.mqtt_ca_file,
        terminal=args.terminal,
        speed=args.speed,
        ends_unix_s=args.ends_unix_s,
        alarm=args.alarm,
        rules=args.rules,
        rules_folder=args.rules_folder or args.store.parent,
        desk=args.database is not None,
        silent_after_s=args.silent_after_s or usual_silence_s,
    )
    try:
        gate = _gate(args.host, args.passcode_file, args.store)
        if args.link is not None:
            return _show_terminal_links(args, gate)
        app = build_app(settings, gate)
    except (UsageError, OSError) as error:
        sys.stderr.write(f"dashboard: {error}\n")
        return USAGE
    if args.ends_with_parent and sys.platform == "linux":
        return serve_again(partial(_serve, args, app, gate))
    if args.ends_with_parent:
        threading.Thread(target=_end_with_parent, daemon=True).start()
    return _serve(args, app, gate, first=True)


def _serve(args: argparse.Namespace, app: Dash, gate: Gate | None, first: bool) -> int:
    """Until interrupted; `first`: links are to be shown. Returns 2 for a usage error."""
    try:
        server = _server(args, app)
        server.prepare()
    except OSError as error:
        sys.stderr.write(f"dashboard: {error}\n")
        return USAGE
    if first and gate is not None and args.database is None:
        _show_links(gate, _address(args))
    try:
        server.serve()
    except KeyboardInterrupt:
        server.stop()
    return ENDED


def _server(args: argparse.Namespace, app: Dash) -> FairServer:
    """Not listening yet; OSError where certificate and key do not belong together."""
    server = FairServer((args.host, args.port), app.server, THREADS, server_name="peakshade")
    server.max_request_header_size = MAX_HEADER_BYTES
    server.max_request_body_size = MAX_BODY_BYTES
    server.shutdown_timeout = 1
    server.request_queue_size = MOST_UNHEARD
    server.timeout = LONGEST_PAUSE_S
    if args.certificate is not None:
        server.ssl_adapter = BuiltinSSLAdapter(str(args.certificate), str(args.key))
    return server


def _with_desk(args: argparse.Namespace) -> argparse.Namespace:
    """The options as the desk's config has them, where one is named; raises UsageError."""
    args.database = None
    if args.desk is None:
        if args.store is None:
            raise UsageError("expected --store, or --desk with the config of a desk")
        return args
    config = load_desk_config(args.desk, os.environ)
    dashboard = config.dashboard
    args.store, args.database = config.path, config.database
    args.host, args.port, args.public_host = dashboard.host, dashboard.port, dashboard.public_host
    for name in ("passcode_file", "certificate", "key"):
        given = getattr(dashboard, name)
        setattr(args, name, None if given is None else Path(given))
    return args


def _address(args: argparse.Namespace) -> str:
    scheme = "http" if args.certificate is None else "https"
    return f"{scheme}://{args.public_host or _reached_by(args.host)}:{args.port}"


def _show_terminal_links(args: argparse.Namespace, gate: Gate | None) -> int:
    """For the crew and the producer of one terminal, who see its pages alone."""
    if gate is None:
        raise UsageError("--link: without a passcode ([dashboard] passcode_file) there are no links")
    ends_unix_s = time.time() + VALID_S
    for form, role in LINKS:
        link = f"{_address(args)}{ENTER}?link={gate.sign(role, ends_unix_s, args.link)}"
        sys.stdout.write(form.format(link=link, end=_end_text(ends_unix_s)) + "\n")
    return 0


def _end_with_parent() -> None:
    """However the agent has ended, its end of this pipe is closed then."""
    sys.stdin.buffer.read()
    os._exit(0)


def _gate(host: str, passcode_file: Path | None, store: Path) -> Gate | None:
    """The gate of the passcode in the file or in the environment; needed beyond this computer."""
    passcode = os.environ.get(PASSCODE_VARIABLE, "")
    if passcode_file is not None:
        try:
            passcode = passcode_file.read_text(encoding="utf-8").strip()
        except OSError as error:
            raise UsageError(f"--passcode-file {passcode_file}: {error.strerror}") from error
    if not passcode and is_loopback(host):
        return None
    if len(passcode) < SHORTEST_PASSCODE:
        raise UsageError(
            f"--host {host}: a passcode of at least {SHORTEST_PASSCODE} characters is needed, got"
            f" {len(passcode)}; put it into a file for --passcode-file or into {PASSCODE_VARIABLE}"
        )
    return gate_of(store, passcode)


def _reached_by(host: str) -> str:
    """The address that others reach this computer by, where it listens on all of its addresses."""
    if host not in EVERY_ADDRESS:
        return host
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # To connect a datagram socket sends nothing, it picks the interface (192.0.2.0/24: RFC 5737).
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return socket.gethostname()
        return str(probe.getsockname()[0])


def _end_text(ends_unix_s: float) -> str:
    return f"{datetime.fromtimestamp(ends_unix_s, UTC).astimezone():%d %B %H:%M}"


def _show_links(gate: Gate, address: str) -> None:
    if not sys.stdout.isatty():
        sys.stdout.write(words.NO_LINKS.format(address=address) + "\n")
        sys.stdout.flush()
        return
    ends_unix_s = time.time() + VALID_S
    end = _end_text(ends_unix_s)
    for form, role in LINKS:
        link = f"{address}{ENTER}?link={gate.sign(role, ends_unix_s)}"
        sys.stdout.write(form.format(link=link, end=end) + "\n")
        segno.make(link).terminal(out=sys.stdout, compact=True)
    sys.stdout.flush()


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m dashboard",
        description="Show the store of a running agent in the browser.",
        epilog="example: python -m dashboard --store day.sqlite3 --mqtt-host 127.0.0.1 --mqtt-port 1883",
    )
    parser.add_argument("--store", type=Path, help="the agent's SQLite file")
    parser.add_argument("--desk", type=Path, metavar="CONFIG", help="of a desk, instead of all else")
    parser.add_argument("--link", metavar="TERMINAL", help="with --desk: print its links, and end")
    parser.add_argument("--mqtt-host", default="127.0.0.1", help="broker for notes and acknowledgements")
    parser.add_argument("--mqtt-port", type=int, default=1883)
    parser.add_argument("--mqtt-username", help=f"its password comes from {BROKER_PASSWORD_VARIABLE}")
    parser.add_argument("--mqtt-tls", action="store_true", help="speak TLS with the broker")
    parser.add_argument("--mqtt-ca-file", type=Path, help="the authority of the broker's certificate")
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
    parser.add_argument("--port", type=int, default=8050)
    parser.add_argument("--terminal", help="terminal to show; otherwise the one written last")
    parser.add_argument("--speed", type=float, default=1.0, help="of the agent's clock, for a played day")
    parser.add_argument(
        "--silent-after-s", type=float, help="no contact once nothing was written for so long"
    )
    parser.add_argument("--ends-unix-s", type=float, help="end of a played day, Unix seconds")
    parser.add_argument(
        "--alarm", type=TypeAdapter(NotifySettings).validate_json, default=NotifySettings(), metavar="JSON",
        help="when the pages may ring, as in [notify] of the config",
    )  # fmt: skip
    parser.add_argument("--passcode-file", type=Path, help="needed to listen beyond this computer")
    parser.add_argument("--certificate", type=Path, help="certificate of this computer, PEM: serves https")
    parser.add_argument("--key", type=Path, help="its key, PEM")
    parser.add_argument("--ends-with-parent", action="store_true", help="end when standard input is closed")
    parser.add_argument("--public-host", help="address that phones reach this computer by, for the links")
    parser.add_argument("--rules", type=Path, help="the rules file in force, for the tuning page")
    parser.add_argument(
        "--rules-folder", type=Path, help="where accepted rules files go (default: beside the store)"
    )
    return parser


if __name__ == "__main__":
    sys.exit(main())
