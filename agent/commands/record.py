"""`peakshade record`: hours of the store as a session folder."""

import argparse
import os
import sys
from pathlib import Path

from agent.commands.config_argument import add_config, config_path
from agent.config import load_config
from agent.errors import UsageError
from agent.replay.recording import Recording, recorded
from agent.replay.rules_file import read_rules
from agent.replay.sessions import write_session
from agent.store.place import HELP, place_of

SUMMARY = "write stored hours as a session folder"
EXAMPLE = "peakshade record van-1.toml saturday --from 2026-07-18T09:00 --to 2026-07-18T19:00"
RULES_FILE = "rules.toml"
# Files above this are packed: the signal of a day, but not the notes that people open.
COMPRESS_ABOVE_BYTES = 200_000


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Whose store, which hours, and where to write."""
    add_config(parser)
    parser.add_argument("out", type=Path, help="the session folder to write")
    parser.add_argument("--store", type=place_of, metavar="STORE", help=f"{HELP}")
    parser.add_argument("--terminal", metavar="NAME", help="which of the store, where it has several")
    parser.add_argument(
        "--from", dest="start", metavar="TIME", help="2026-07-18T09:00 at the site, or RFC 3339"
    )
    parser.add_argument("--to", dest="end", metavar="TIME", help="the like; default: all that is stored")
    parser.add_argument("--title", help="of the session (default: site and date)")


def run(args: argparse.Namespace) -> int:
    """Write the folder; 1 where its replay may raise other alerts than the agent did."""
    out: Path = args.out
    recording, rules = _recording(args)
    write_session(out, recording.session, COMPRESS_ABOVE_BYTES)
    session = recording.session
    sys.stdout.write(f"{out} written: {session.title}, {len(session.readings)} readings\n")
    again = f"peakshade replay {out}"
    if rules is not None:
        read_rules(rules)
        (out / RULES_FILE).write_bytes(rules.read_bytes())
        again += f" --rules {out / RULES_FILE}"
    sys.stdout.write(f"To replay it: {again}\n")
    if not recording.whole:
        sys.stdout.write(
            "It starts in the midst of what was heard: the replay learns the reference anew from there,"
            " and may raise other alerts than the agent did.\n"
        )
    return 0 if recording.whole else 1


def _recording(args: argparse.Namespace) -> tuple[Recording, Path | None]:
    """The hours, and the rules file that the config names."""
    if args.config is not None and args.store is not None:
        raise UsageError("expected the config file or --store PATH, one of the two")
    if args.store is not None:
        return recorded(args.store, args.terminal, args.start, args.end, args.title), None
    config = load_config(config_path(args), os.environ)
    terminal = args.terminal or config.job.terminal
    return recorded(config.store.path, terminal, args.start, args.end, args.title), config.rules
