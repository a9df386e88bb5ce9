"""The options that say where a Mosquitto is reached for which a command writes the files."""

import argparse
import socket

from agent.config import MQTT_TLS_PORT


def add_broker_place(parser: argparse.ArgumentParser, who: str) -> None:
    """`--broker-host` and `--broker-port`; `who` reaches it there."""
    parser.add_argument(
        "--broker-host",
        default=socket.gethostname(),
        help=f"by which {who} reach that Mosquitto (assumed: %(default)s)",
    )
    parser.add_argument("--broker-port", type=int, default=MQTT_TLS_PORT, help="where it listens")
