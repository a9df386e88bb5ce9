"""The config file of a terminal, named the same way for every command."""

import argparse
from pathlib import Path

from agent.errors import UsageError

DEFAULT_CONFIG = "peakshade.toml"
HELP = f"the terminal's config file (else --config, else {DEFAULT_CONFIG} in this folder)"


def add_config(parser: argparse.ArgumentParser, by_place: bool = True) -> None:
    """`--config FILE`, and by its place where the command has no other words there."""
    parser.add_argument("--config", metavar="FILE", help="the terminal's config file")
    if by_place:
        # Where it is not given by its place, that must not undo what the option said.
        parser.add_argument("config", nargs="?", default=argparse.SUPPRESS, help=HELP)


def config_path(args: argparse.Namespace) -> Path:
    """The file that is named; raises UsageError where none is."""
    named: str | None = args.config
    if named is None and Path(DEFAULT_CONFIG).exists():
        return Path(DEFAULT_CONFIG)
    if named is None:
        raise UsageError("of which terminal? name its config file: --config van-1.toml")
    return Path(named)
