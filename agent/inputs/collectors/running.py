"""Runs the collectors of an agent side by side."""

import asyncio
from collections.abc import Callable, Mapping, Sequence

from agent.config import Config
from agent.inputs.collectors.frame import Collector, InputState, Outlet, keep_collecting
from agent.inputs.collectors.postbox import Postbox
from agent.inputs.collectors.registry import collectors_of
from agent.records import JsonValue


class Inputs:
    """An agent's collectors with how they fare; `changed` is set when one begins or ceases to work."""

    def __init__(self, config: Config, environ: Mapping[str, str], now: Callable[[], float]) -> None:
        """Raises UsageError where the config's inputs are wrong."""
        self._config = config
        self._now = now
        self._collectors: Sequence[Collector] = collectors_of(config, environ)
        self.changed = asyncio.Event()
        self.states = [InputState(one.name, now(), on_change=self.changed.set) for one in self._collectors]

    async def run(self) -> None:
        """Until cancelled; a bug in one ends them all, a failing counterpart only its own readings."""
        postbox = Postbox(self._config.broker)
        outlet = Outlet(self._config.job.terminal, postbox.put, self._now)
        async with asyncio.TaskGroup() as group:
            group.create_task(postbox.deliver(), name="postbox")
            for collector, state in zip(self._collectors, self.states, strict=True):
                group.create_task(keep_collecting(collector, state, outlet), name=collector.name)

    def as_json(self) -> list[JsonValue]:
        """How each fares, for the status message."""
        return [state.as_json() for state in self.states]
