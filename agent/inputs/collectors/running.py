"""Runs the collectors of an agent side by side."""

import asyncio
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress

from agent.config import Config
from agent.inputs.collectors.frame import Collector, InputState, Outlet, keep_collecting
from agent.inputs.collectors.postbox import Postbox
from agent.inputs.collectors.registry import collectors_of
from agent.records import JsonValue

MOMENT_S = 0.5


class Inputs:
    """An agent's collectors with how they fare."""

    def __init__(self, config: Config, environ: Mapping[str, str], now: Callable[[], float]) -> None:
        """Raises UsageError where the config's inputs are wrong."""
        self._config = config
        self._now = now
        self._collectors: Sequence[Collector] = collectors_of(config, environ)
        self._changed = asyncio.Event()
        self.states = [InputState(one.name, now(), on_change=self._changed.set) for one in self._collectors]

    async def run(self) -> None:
        """Until cancelled; a bug in one ends them all, a failing counterpart only its own readings."""
        postbox = Postbox(self._config.broker)
        outlet = Outlet(self._config.job.terminal, postbox.put, self._now)
        async with asyncio.TaskGroup() as group:
            group.create_task(postbox.deliver(), name="postbox")
            for collector, state in zip(self._collectors, self.states, strict=True):
                group.create_task(keep_collecting(collector, state, outlet), name=collector.name)

    async def change_within(self, within_s: float) -> None:
        """Wait until an input begins or ceases to work, or so long; changes within a moment are one."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._changed.wait(), within_s)
        await asyncio.sleep(MOMENT_S)
        self._changed.clear()

    def as_json(self) -> list[JsonValue]:
        """How each fares, for the status message."""
        return [state.as_json() for state in self.states]
