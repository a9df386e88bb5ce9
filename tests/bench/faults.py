"""`python -m tests.bench.faults [--long]`: faults done to a running agent, as a table.

Exit code 1 where one cost something. `--long`: three hundred kills in all, and a desk's faults.
"""

import sys
import tempfile
from pathlib import Path

from tests.desk.faults import outcomes as of_a_desk
from tests.faults import all_of, failed

TIMES, LONG_TIMES, DESK_TIMES = 10, 150, 25


def main() -> int:
    """Print a row as each is done."""
    bad = False
    print(
        "| fault | times | lost | doubled | longest until stored again |\n|---|---|---|---|---|", flush=True
    )
    with tempfile.TemporaryDirectory() as folder:
        for outcome in all_of(Path(folder), LONG_TIMES if "--long" in sys.argv else TIMES):
            print(outcome.row(), flush=True)
            bad |= failed(outcome)
        if "--long" in sys.argv:
            for outcome in of_a_desk(Path(folder), DESK_TIMES):
                print(outcome.row(), flush=True)
                bad |= failed(outcome)
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())
