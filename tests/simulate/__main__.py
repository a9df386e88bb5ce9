"""`python -m tests.simulate OUT [--only NAME]` writes the bundled days: the same bytes, and their plans."""

import argparse
import shutil
import sys
from dataclasses import replace
from pathlib import Path

from agent.errors import UsageError
from agent.planning.compute import compute_plan
from agent.replay.sessions import write_session
from tests.simulate.bundled import bundled_days
from tests.simulate.day import simulate_day

# Larger files are packed so that the repository stays small; a spreadsheet opens the others directly.
COMPRESS_ABOVE_BYTES = 60_000


def main() -> int:
    """Write one or all bundled days below OUT, in place of those that stand there."""
    days = bundled_days()
    parser = argparse.ArgumentParser(prog="python -m tests.simulate", description=main.__doc__)
    parser.add_argument("out", type=Path, metavar="OUT")
    parser.add_argument("--only", choices=sorted(days), metavar="NAME", help=", ".join(days))
    args = parser.parse_args()
    for name, day in days.items():
        if args.only in (None, name):
            folder = args.out / name
            if folder.exists():
                shutil.rmtree(folder)
            session = simulate_day(day.scenario, day.seed).session()
            planned = replace(session, plan=compute_plan(session.job))
            write_session(folder, planned, COMPRESS_ABOVE_BYTES)
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except UsageError as error:
        sys.exit(str(error))
