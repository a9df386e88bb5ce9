"""`python -m dashboard`: serves the pages."""

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path

import waitress

from dashboard.app import build_app
from dashboard.settings import Settings

# Sixteen viewers that poll every three seconds keep a few threads busy, not more.
THREADS = 8


def main(argv: Sequence[str] | None = None) -> int:
    """Serve until interrupted."""
    args = _parser().parse_args(argv)
    settings = Settings(
        store=args.store,
        mqtt_host=args.mqtt_host,
        mqtt_port=args.mqtt_port,
        terminal=args.terminal,
        speed=args.speed,
    )
    waitress.serve(build_app(settings).server, host=args.host, port=args.port, threads=THREADS, ident=None)
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m dashboard",
        description="Show the store of a running agent in the browser.",
        epilog="example: python -m dashboard --store day.sqlite3 --mqtt-host 127.0.0.1 --mqtt-port 1883",
    )
    parser.add_argument("--store", type=Path, required=True, help="the agent's SQLite file")
    parser.add_argument("--mqtt-host", default="127.0.0.1", help="broker for notes and acknowledgements")
    parser.add_argument("--mqtt-port", type=int, default=1883)
    parser.add_argument("--host", default="127.0.0.1", help="address to listen on")
    parser.add_argument("--port", type=int, default=8050)
    parser.add_argument("--terminal", help="terminal to show; otherwise the one written last")
    parser.add_argument("--speed", type=float, default=1.0, help="of the agent's clock, for a played day")
    return parser


if __name__ == "__main__":
    sys.exit(main())
