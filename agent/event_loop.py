"""The event loop and the wish to end, by platform."""

import asyncio
import signal
import sys
from collections.abc import Coroutine
from types import FrameType
from typing import TypeVar

ResultT = TypeVar("ResultT")


def run_until_done(work: Coroutine[None, None, ResultT]) -> ResultT:
    """Like asyncio.run. Windows' usual loop watches no sockets of others, which the MQTT client needs."""
    factory = asyncio.SelectorEventLoop if sys.platform == "win32" else None
    with asyncio.Runner(loop_factory=factory) as runner:
        return runner.run(work)


def stop_on_signals() -> asyncio.Event:
    """Set when the user or the system asks the program to end."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    if sys.platform == "win32":
        # No loop takes signals there. Control-Break is what another program can send.
        def ask(_number: int, _frame: FrameType | None) -> None:
            loop.call_soon_threadsafe(stop.set)

        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGBREAK):
            signal.signal(number, ask)
    else:
        for number in (signal.SIGINT, signal.SIGTERM):
            loop.add_signal_handler(number, stop.set)
    return stop
