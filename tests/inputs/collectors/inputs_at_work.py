"""Inputs of a config at work, as the agent runs them, with what they publish kept in a list."""

import asyncio
import json
import threading
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from agent.config import Config, load_config
from agent.inputs.collectors.frame import Collector, InputState, Outlet, keep_collecting
from agent.inputs.collectors.registry import collectors_of
from tests.job_text import JOB_TOML
from tests.processes import PATIENCE_S, wait_until


def config_with(folder: Path, inputs: str, broker: str = "") -> Config:
    """A whole config with these tables of inputs."""
    path = folder / "van-1.toml"
    path.write_text(f"{JOB_TOML}\n{broker}\n{inputs}")
    return load_config(path, {})


class AtWork:
    """The inputs in a thread of their own; `published` holds kind and fields, in order."""

    def __init__(self, collectors: list[Collector]) -> None:
        self.published: list[tuple[str, dict[str, object]]] = []
        self.states = [InputState(one.name, time.time()) for one in collectors]
        self._collectors = collectors
        self._loop = asyncio.new_event_loop()
        self._main: asyncio.Task[None] | None = None
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._work)

    def _work(self) -> None:
        with asyncio.Runner(loop_factory=lambda: self._loop) as runner:
            runner.run(self._run())

    async def _run(self) -> None:
        self._main = asyncio.current_task()
        self._ready.set()
        outlet = Outlet("van-1", self._put, time.time)
        try:
            async with asyncio.TaskGroup() as group:
                for one, state in zip(self._collectors, self.states, strict=True):
                    group.create_task(keep_collecting(one, state, outlet))
        except asyncio.CancelledError:
            return

    def _put(self, topic: str, payload: bytes) -> None:
        self.published.append((topic.rpartition("/")[2], json.loads(payload)))

    def start(self) -> None:
        """Begin."""
        self._thread.start()
        self._ready.wait()

    def stop(self) -> None:
        """End, as the agent ends its tasks."""
        assert self._main is not None
        self._loop.call_soon_threadsafe(self._main.cancel)
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()

    def readings(self, kind: str) -> list[dict[str, object]]:
        """What was published of a kind, without the times."""
        found = [fields for one, fields in self.published if one == kind]
        return [{key: value for key, value in fields.items() if key != "time"} for fields in found]

    def wait_for(self, count: int, kind: str = "signal") -> list[dict[str, object]]:
        """The next readings, so many."""
        before = len(self.readings(kind))
        wait_until(
            lambda: len(self.readings(kind)) >= before + count, PATIENCE_S, f"{count} readings of {kind}"
        )
        return self.readings(kind)[before : before + count]

    def wait_error(self, part: str, number: int = 0) -> str:
        """The error that holds this text."""
        state = self.states[number]
        wait_until(
            lambda: state.state == "failing" and part in (state.error or ""),
            PATIENCE_S,
            f"error with {part!r}",
        )
        return state.error or ""

    def wait_finding(self) -> str:
        """What wants mending although the input works."""
        state = self.states[0]
        wait_until(lambda: state.finding is not None, PATIENCE_S, "a finding")
        return state.finding or ""

    def wait_ok(self, number: int = 0) -> None:
        """The input works."""
        wait_until(lambda: self.states[number].state == "ok", PATIENCE_S, "the input works")


@contextmanager
def at_work(folder: Path, inputs: str, environ: Mapping[str, str] | None = None) -> Iterator[AtWork]:
    """The inputs of this text, until the block ends."""
    work = AtWork(collectors_of(config_with(folder, inputs), environ or {}))
    work.start()
    try:
        yield work
    finally:
        work.stop()
