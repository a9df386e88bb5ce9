"""Other programs, waited for in a thread: Windows has no loop that starts them and watches MQTT's sockets."""

import asyncio
import subprocess
from collections.abc import Sequence
from functools import partial

from agent.inputs.collectors.frame import OwnThread


async def run_program(
    words: Sequence[str], within_s: float, given: bytes = b""
) -> subprocess.CompletedProcess[bytes]:
    """Run a program once, without a shell, with `given` on its standard input.

    Raises OSError where it cannot be started, and TimeoutError where it runs longer; it is killed then, and
    when the task that waits is cancelled.
    """
    pipe = subprocess.PIPE
    # Not in the thread: a start that is cancelled would leave a program that nobody knows.
    process = subprocess.Popen(words, stdin=pipe, stdout=pipe, stderr=pipe)  # noqa: ASYNC220
    try:
        async with asyncio.timeout(within_s):
            said, complained = await OwnThread().run(partial(process.communicate, given))
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
    return subprocess.CompletedProcess(words, process.returncode, said, complained)
