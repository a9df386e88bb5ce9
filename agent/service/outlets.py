"""The ways out of alerts besides MQTT: a command of the user, and the services that apprise knows.

Each has a task of its own, so that a slow one delays neither the agent nor the others.
"""

import asyncio
import json
import logging
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Protocol
from zoneinfo import ZoneInfo

from agent.clock import Clock
from agent.config import Config
from agent.config_notify import NotifySettings, policy_of, reminded_s
from agent.errors import UsageError
from agent.extras import module_with_extra
from agent.inputs.collectors.frame import EXPECTED, CollectorError, InputState, OwnThread
from agent.inputs.collectors.programs import run_program
from agent.inputs.messages import alert_message
from agent.notify import NotificationPolicy, PolicySettings, Reminders, title_and_body
from agent.records import AlertEvent, JsonValue

LOG = logging.getLogger(__name__)

DELIVERY_WITHIN_S = 30.0
RETRY_S = 20.0
TRIES = 3
# What waits for a way out that is stuck; older alerts are no news any more.
WAITING = 50
LOOK_EVERY_S = 1.0
LONGEST_WORDS = 200


class Outlet(Protocol):
    """One way out."""

    async def deliver(self, event: AlertEvent) -> None:
        """Raises CollectorError or OSError where the alert did not get out."""


@dataclass(frozen=True, slots=True)
class Command:
    """A program with its arguments, without a shell; the alert comes as JSON on its standard input."""

    words: Sequence[str]

    async def deliver(self, event: AlertEvent) -> None:
        """Run it once; of what it says only the end is kept."""
        done = await run_program(self.words, DELIVERY_WITHIN_S, alert_message(event))
        if done.returncode:
            said = done.stderr[-LONGEST_WORDS:].decode("utf-8", "replace").strip()
            raise CollectorError(f"it ended with {done.returncode}: {said or 'without a word'}")


class Services:
    """What apprise sends to; its library is only loaded where it is used."""

    def __init__(self, terminal: str, urls: Sequence[str]) -> None:
        """Raises UsageError where the library is missing or does not know an address."""
        module = module_with_extra("apprise", "notify.urls_file")
        self._terminal = terminal
        self._apprise = module.Apprise()
        self._thread = OwnThread()
        for number, url in enumerate(urls, 1):
            # An address holds the key of the service, and is not shown.
            if not self._apprise.add(url):
                raise UsageError(f"notify.urls_file: line {number} is no address that apprise knows")

    async def deliver(self, event: AlertEvent) -> None:
        """Send it to all."""
        title, body = title_and_body(self._terminal, event)
        send = partial(self._apprise.notify, title=title, body=body or title)
        async with asyncio.timeout(DELIVERY_WITHIN_S):
            if not await self._thread.run(send):
                raise CollectorError("at least one service did not take it")


@dataclass(slots=True)
class _Line:
    """An outlet, how it fares, and what waits for it."""

    outlet: Outlet
    state: InputState
    waiting: deque[AlertEvent] = field(default_factory=lambda: deque(maxlen=WAITING))
    filled: asyncio.Event = field(default_factory=asyncio.Event)


class Notifier:
    """Takes alert events, and lets them out as the policy says."""

    def __init__(
        self, settings: PolicySettings, outlets: dict[str, Outlet], memory: Path, clock: Clock
    ) -> None:
        self._policy = NotificationPolicy(settings)
        self._memory = memory
        self._clock = clock
        self._disk = OwnThread()
        self._lines = [_Line(one, InputState(name, clock.shown())) for name, one in outlets.items()]
        if memory.exists():
            self._remember()

    def hear(self, events: Sequence[AlertEvent]) -> None:
        """Never waits."""
        self._policy.hear(events)

    def as_json(self) -> list[JsonValue]:
        """How the outlets fare, for the status message."""
        return [line.state.as_json() for line in self._lines]

    async def run(self) -> None:
        """Until cancelled."""
        async with asyncio.TaskGroup() as group:
            for line in self._lines:
                group.create_task(self._let_out(line), name=line.state.name)
            while True:
                going = self._policy.due(self._clock.shown())
                for line in self._lines if going else ():
                    line.waiting.extend(going)
                    line.filled.set()
                if going:
                    await self._keep()
                await asyncio.sleep(LOOK_EVERY_S)

    async def _let_out(self, line: _Line) -> None:
        while True:
            await line.filled.wait()
            line.filled.clear()
            while line.waiting:
                await self._try(line, line.waiting.popleft())

    async def _try(self, line: _Line, event: AlertEvent) -> None:
        for attempt in range(TRIES):
            if attempt:
                await asyncio.sleep(RETRY_S)
            try:
                await line.outlet.deliver(event)
            except EXPECTED as error:
                text = str(error) or "no answer in time"
                line.state.failed(f"{event.rule} did not get out: {text}", self._clock.shown())
            else:
                line.state.worked(1, None, self._clock.shown())
                return

    async def _keep(self) -> None:
        text = json.dumps(self._policy.as_json())
        try:
            await self._disk.run(partial(self._memory.write_text, text, encoding="utf-8"))
        except EXPECTED as error:
            LOG.warning(
                "%s cannot be written (%s): after a restart alerts may go out again", self._memory, error
            )

    def _remember(self) -> None:
        try:
            tree = json.loads(self._memory.read_text(encoding="utf-8"))
            self._policy.restore(tree)
        except (ValueError, AttributeError) as error:
            # What was sent is then not known, and at worst goes out twice.
            LOG.warning("%s cannot be read (%s): alerts may go out again", self._memory, error)


def outlets_of(config: Config) -> dict[str, Outlet]:
    """The ways out of alerts that the config names, by their names. Raises UsageError."""
    settings = config.notify
    outlets: dict[str, Outlet] = {}
    if settings.command:
        outlets["notify command"] = Command(settings.command)
    if settings.urls_file is not None:
        lines = settings.urls_file.read_text(encoding="utf-8").splitlines()
        urls = [line.strip() for line in lines if line.strip() and not line.startswith("#")]
        outlets["notify services"] = Services(config.job.terminal, urls)
    return outlets


def notifier_of(config: Config, clock: Clock) -> Notifier | None:
    """What the config asks for; None where it names no way out. Raises UsageError."""
    settings = config.notify
    outlets = outlets_of(config)
    if not outlets:
        return None
    policy = policy_of(settings, ZoneInfo(config.job.site.time_zone))
    path = config.store.path
    return Notifier(policy, outlets, path.with_name(f"{path.name}.notified.json"), clock)


def reminders_of(settings: NotifySettings, speed: float) -> Reminders:
    """Of what nobody has seen."""
    return Reminders(reminded_s(settings, speed))
