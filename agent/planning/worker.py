"""Computes one plan in a process of its own: job and span on stdin (pickled), the plan as JSON on stdout.

`agent.planning.store` starts it, so that the libraries that take part never enter the agent's own process.
What needs the sun's place is computed beside it in a second process: libraries take longer than the numbers.
"""

import gc
import pickle
import subprocess
import sys
from importlib import import_module

from agent.planning.later import load_later

SUN = "sun"


def main() -> None:
    """Answer the one request that stands on stdin, as the process for the link or for the sun."""
    # A short life: looking for what is no longer used would cost a tenth of it.
    gc.disable()
    load_later()
    if sys.argv[1:] == [SUN]:
        import_module("agent.planning.sun_process").main()
        return
    job, span = pickle.load(sys.stdin.buffer)
    with subprocess.Popen(
        [sys.executable, "-P", "-m", "agent.planning.worker", SUN],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        bufsize=0,
    ) as sun:
        if sun.stdin is None:
            raise ValueError("the process for the sun was started without its input")
        pickle.dump((job, span), sun.stdin)
        import_module("agent.planning.link_process").answer(job, span, sun)


if __name__ == "__main__":
    main()
