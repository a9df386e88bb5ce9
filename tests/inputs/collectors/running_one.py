"""Runs one collector through the frame and keeps what it publishes."""

import asyncio
import json
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import Any

from agent.inputs.collectors.frame import Collector, InputState, Outlet, keep_collecting
from tests.processes import PATIENCE_S

NOW_UNIX_S = 1_784_367_000.0
LOOK_EVERY_S = 0.01


@dataclass
class Running:
    """The messages by now, and how the input fares."""

    state: InputState
    messages: list[tuple[str, dict[str, Any]]] = field(default_factory=list)

    async def until(self, true: Callable[["Running"], bool], within_s: float = PATIENCE_S) -> None:
        """Wait until it is so; fail with the state where it is not in time."""
        deadline_s = asyncio.get_running_loop().time() + within_s
        while not true(self):
            assert asyncio.get_running_loop().time() < deadline_s, self.state
            await asyncio.sleep(LOOK_EVERY_S)


def run_collector(collector: Collector, look: Callable[[Running], Awaitable[None]]) -> Running:
    """Run it while `look` watches."""

    async def run() -> Running:
        running = Running(InputState(collector.name, NOW_UNIX_S))

        def put(topic: str, payload: bytes) -> None:
            running.messages.append((topic, json.loads(payload)))

        outlet = Outlet("van-1", put, lambda: NOW_UNIX_S)
        task = asyncio.create_task(keep_collecting(collector, running.state, outlet))
        try:
            watching = asyncio.ensure_future(look(running))
            await asyncio.wait([task, watching], return_when=asyncio.FIRST_COMPLETED)
            if task.done():
                task.result()
            await watching
        finally:
            task.cancel()
            await asyncio.wait([task])
        return running

    return asyncio.run(run())


def after(
    true: Callable[[Running], bool], within_s: float = PATIENCE_S
) -> Callable[[Running], Awaitable[None]]:
    """Look until it is so."""

    async def look(running: Running) -> None:
        await running.until(true, within_s)

    return look
