"""`peakshade rescue`: what can be read of a damaged store, as a new one."""

import argparse
import sys
import time
from pathlib import Path

from agent.errors import UsageError
from agent.store.rescue import rescued

SUMMARY = "bring what can be read of a damaged store into a new one"
EXAMPLE = "peakshade rescue peakshade.sqlite3.damaged-20260718T101500Z rescued.sqlite3"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The damaged file and the new one."""
    parser.add_argument("damaged", type=Path, help="the damaged store; its -wal file is read too")
    parser.add_argument("out", type=Path, help="the store to write; it must not exist")


def run(args: argparse.Namespace) -> int:
    """Write the new store; 1 where nothing could be read."""
    if args.out.exists():
        raise UsageError(f"{args.out}: exists already; name a new file")
    if not args.damaged.is_file():
        raise UsageError(f"{args.damaged}: there is no such file; the agent's log names what it set aside")
    found = rescued(args.damaged, args.out, time.time())
    for table, count in found.items():
        sys.stdout.write(f"{table}: {count}\n")
    sys.stdout.write(f"{args.out} written; to use it: peakshade record --store {args.out} DAY\n")
    return 0 if found else 1
