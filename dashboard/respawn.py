"""Serves the pages in a process that is forked anew when it crashes: imports, which take seconds, are done.

The process that forks has no thread, does nothing else, and has most of its memory in common with the other.
"""

import gc
import os
import sys
import threading
import time
from collections.abc import Callable
from multiprocessing import Process, parent_process, set_start_method
from multiprocessing.connection import wait

REST_S = 0.5
ENDED, USAGE = 0, 2


def serve_again(serve: Callable[[bool], int]) -> int:
    """Serve until standard input, a pipe from the agent, is closed; returns 2 for a usage error.

    `serve` is told whether it is the first.
    """
    set_start_method("fork", force=True)
    agent = sys.stdin.fileno()
    first = True
    gc.freeze()
    while True:
        worker = Process(target=_work, args=(serve, first), daemon=True)
        worker.start()
        try:
            if agent in wait([worker.sentinel, agent]):
                return ENDED
        except KeyboardInterrupt:
            return ENDED
        worker.join()
        if worker.exitcode in (ENDED, USAGE):
            return worker.exitcode
        sys.stderr.write(f"dashboard: ended ({worker.exitcode}), begins again\n")
        first = False
        time.sleep(REST_S)


def _work(serve: Callable[[bool], int], first: bool) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    sys.exit(serve(first))


def _end_with_parent() -> None:
    """However that one ends, the system closes its end of a pipe."""
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(ENDED)
