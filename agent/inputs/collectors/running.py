"""Runs the collectors of an agent side by side."""

import asyncio
from collections.abc import Callable, Mapping, Sequence

from agent.config import Config
from agent.inputs.collectors.frame import Collector, InputState, Outlet, keep_collecting
from agent.inputs.collectors.postbox import Postbox
from agent.inputs.collectors.registry import inputs_of
from agent.records import JsonValue


class Inputs:
    """An agent's collectors with how they fare; `changed` is set when one begins or ceases to work."""

    def __init__(self, config: Config, environ: Mapping[str, str], now: Callable[[], float]) -> None:
        """Those that the config has wrong are failing from the start, and the others run."""
        self._config = config
        self._now = now
        collectors, wrong = inputs_of(config, environ)
        self._collectors: Sequence[Collector] = collectors
        self.changed = asyncio.Event()
        self.states = [InputState(one.name, now(), on_change=self.changed.set) for one in collectors]
        for misconfigured in wrong:
            state = InputState(misconfigured.name, now())
            state.failed("; ".join(misconfigured.lines), now())
            self.states.append(state)

    async def run(self) -> None:
        """Until cancelled; a bug in one ends them all, a failing counterpart only its own readings."""
        postbox = Postbox(self._config.broker)
        outlet = Outlet(self._config.job.terminal, postbox.put, self._now)
        async with asyncio.TaskGroup() as group:
            group.create_task(postbox.deliver(), name="postbox")
            for collector, state in zip(self._collectors, self.states, strict=False):
                group.create_task(keep_collecting(collector, state, outlet), name=collector.name)

    def as_json(self) -> list[JsonValue]:
        """How each fares, for the status message."""
        return [state.as_json() for state in self.states]
