"""Keeps the live agent's store usable: waits for a disk, and sets a damaged file aside for a new one.

Whatever is wrong with the file, the engine goes on: what it holds in memory does not depend on it.
"""

import asyncio
import logging
import sqlite3
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

from agent.inputs.collectors.frame import InputState
from agent.records import AlertEvent, JsonValue, Severity
from agent.service.pipeline import Pipeline
from agent.store.opening import (
    DamagedError,
    FileNumber,
    StoreError,
    disk_refusal,
    forget_log,
    identity,
    open_for_reading,
    primary_code,
    readable,
    set_aside,
    surroundings,
    wrong_with,
)
from agent.store.remains import Remains, remains, salvaged
from agent.store.room import room_left

LOG = logging.getLogger(__name__)

RETRY_S = 5.0
LOOK_EVERY_S = 60.0
# A new store starts within 10 s, whatever is done to the file.
LOOK_AT_FILE_S = 4.0
MOST_SET_ASIDE = 10

ResultT = TypeVar("ResultT")
# What a file whose bytes were turned can do to those who read it, besides SQLite's own errors.
UNREADABLE = (ValueError, TypeError, LookupError, ArithmeticError, AttributeError)


class GivenUpError(Exception):
    """The agent is to end, and the disk takes nothing."""


@dataclass(frozen=True, slots=True)
class Kept:
    """Which store is kept, and how its pipeline comes to exist: as the last run left it, or from remains.

    It can move to a new store, and reopen its own, which stands in another file.
    """

    path: Path
    terminal: str
    start: Callable[[Remains | None], Pipeline]
    move: Callable[[Pipeline], None]
    reopen: Callable[[Pipeline], None]
    now: Callable[[], float]


class Keeper:
    """All use of the store goes through `run`, one call at a time, in a thread of its own."""

    def __init__(
        self,
        kept: Kept,
        stop: asyncio.Event,
        tell: Callable[[AlertEvent], None],
        on_change: Callable[[], None],
    ) -> None:
        """`tell` hears what people have to know; `stop`: no more waiting for the disk."""
        self._kept = kept
        self._stop = stop
        self._tell = tell
        # Not the loop's own threads: name lookups of inputs may hang in all of those.
        self._thread = ThreadPoolExecutor(1, "disk")
        self._pipeline: Pipeline | None = None
        self.store = InputState("store", kept.now(), on_change=on_change)
        self.disk = InputState("disk", kept.now(), on_change=on_change)
        self._aside = 0
        self._file: tuple[FileNumber, FileNumber] = (None, None)
        self._news: list[AlertEvent] = []

    @property
    def is_open(self) -> bool:
        """Whether there is a pipeline."""
        return self._pipeline is not None

    @property
    def pipeline(self) -> Pipeline:
        """Once `open` is done; always the same."""
        if self._pipeline is None:
            raise RuntimeError("the store is not open yet")
        return self._pipeline

    async def open(self) -> None:
        """Start the pipeline, with a new store where the present one is damaged. Raises StoreError."""
        self._pipeline = await self._until_done(self._started)
        self._file = identity(self._kept.path)

    async def run(self, call: Callable[[Pipeline], ResultT]) -> ResultT:
        """What the call returns, once the disk takes it; on a new store where the present one is damaged."""
        return await self._until_done(partial(self._called, call, ()))

    async def catch_up(self) -> list[AlertEvent]:
        """The first call: it reads what the file holds, which may be anything."""
        return await self._until_done(
            partial(self._called, lambda one: one.catch_up(time.time()), UNREADABLE)
        )

    async def close(self) -> None:
        """Let go of the store; a cancelled call goes on in its thread until then."""
        if self._pipeline is not None:
            await self._in_thread(self._let_go)
        await asyncio.to_thread(self._thread.shutdown)

    def as_json(self) -> list[JsonValue]:
        """What is wrong with store and disk, for the status message; nothing where all is well."""
        both = (self.store, self.disk)
        return [one.as_json() for one in both if one.state == "failing" or one.finding is not None]

    async def check_whole(self) -> None:
        """Look through the whole file once, beside the work, and replace it where it is damaged."""
        wrong = await asyncio.to_thread(wrong_with, self._kept.path)
        if wrong is not None:
            with suppress(GivenUpError):
                await self._until_done(partial(self._replaced, wrong))

    async def watch_file(self) -> None:
        """See in time that the file was taken away, or that no reader can use it, until cancelled.

        SQLite itself would go on for hours in a file that has no name any more.
        """
        while True:
            await asyncio.sleep(LOOK_AT_FILE_S)
            with suppress(GivenUpError):
                if self._is_elsewhere():
                    await self._until_done(self._put_back)
                elif not await asyncio.to_thread(readable, self._kept.path):
                    await self.check_whole()

    async def watch_room(self) -> None:
        """Say in time that the disk fills, or takes nothing, until cancelled."""
        said = None
        while True:
            severity, text = room_left(self._kept.path)
            if severity is None:
                self.disk.worked(0, None, self._kept.now())
            elif severity == "urgent":
                self.disk.failed(text, self._kept.now())
            else:
                self.disk.worked(0, text, self._kept.now())
            if severity is not None and severity != said:
                self._tell(notice(self._kept.now(), severity, "disk", "See to the agent's disk", text))
            said = severity
            await asyncio.sleep(LOOK_EVERY_S)

    async def _in_thread(self, call: Callable[[], ResultT]) -> ResultT:
        return await asyncio.get_running_loop().run_in_executor(self._thread, call)

    async def _until_done(self, call: Callable[[], ResultT]) -> ResultT:
        while True:
            try:
                done = await self._in_thread(call)
            except (sqlite3.Error, OSError) as error:
                around = surroundings(self._kept.path, error) if isinstance(error, sqlite3.Error) else None
                text = f"{self._kept.path}: {around or error}; messages wait until then"
                LOG.error("store %s", text)
                self.store.failed(text, self._kept.now())
                await self._rest()
            else:
                self.store.worked(0, self.store.finding, self._kept.now())
                return done
            finally:
                while self._news:
                    self._tell(self._news.pop(0))

    async def _rest(self) -> None:
        try:
            await asyncio.wait_for(self._stop.wait(), RETRY_S)
        except TimeoutError:
            return
        raise GivenUpError

    def _called(self, call: Callable[[Pipeline], ResultT], damage: tuple[type[Exception], ...]) -> ResultT:
        try:
            return call(self.pipeline)
        except sqlite3.Error as error:
            if surroundings(self._kept.path, error) is not None:
                raise
            if self._is_elsewhere():
                # The disk has come back after an error, as another one to whoever had it open.
                self._put_back()
            else:
                self._replaced(str(error))
        except damage as error:
            LOG.exception("store %s: what it holds cannot be read", self._kept.path)
            self._replaced(repr(error))
        return call(self.pipeline)

    def _started(self) -> Pipeline:
        try:
            return self._kept.start(None)
        except DamagedError as error:
            reason = str(error)
        except StoreError as error:
            cause = error.__cause__
            if isinstance(cause, sqlite3.Error) and (
                primary_code(cause) == sqlite3.SQLITE_FULL or disk_refusal(self._kept.path) is not None
            ):
                raise cause from error
            raise
        except sqlite3.Error as error:
            if surroundings(self._kept.path, error) is not None:
                raise
            reason = str(error)
        except UNREADABLE as error:
            LOG.exception("store %s: what it holds cannot be read", self._kept.path)
            reason = f"what it holds cannot be read ({error!r})"
        left = salvaged(self._kept.path, self._kept.terminal)
        self._set_aside(reason)
        return self._kept.start(left)

    def _replaced(self, reason: str) -> None:
        """Go on with a new store; everything that the engine knows is in memory."""
        self._let_go()
        self._set_aside(reason)
        self._kept.move(self.pipeline)
        self._file = identity(self._kept.path)

    def _is_elsewhere(self) -> bool:
        """Whether the open files have other names than those of the store and its log, or none."""
        store, log = identity(self._kept.path)
        if self._file == (store, None):
            # The log comes to exist with the first word that is written.
            self._file = store, log
        return self._file != (store, log)

    def _put_back(self) -> None:
        """The open file is whole still, but has lost its name, perhaps to another one: it gets it again."""
        path = self._kept.path
        if not self._is_elsewhere():
            return
        copy = path.with_name(f"{path.name}.copy")
        try:
            self.pipeline.copy_to(copy)
        except sqlite3.Error as error:
            copy.unlink(missing_ok=True)
            if surroundings(path, error) is not None:
                raise
            self._replaced(f"taken away, and {error}")
            return
        self._let_go()
        other = ""
        if path.exists() and not self._hold_the_same(path, copy):
            other = f"; what stood in its place is now {set_aside(path, time.time()).name}"
        forget_log(path)
        # Not what stands there afterwards: in between a disk may be mounted over it.
        written, _ = identity(copy)
        copy.replace(path)
        self._kept.reopen(self.pipeline)
        self._file = written, None
        text = f"{path} was taken away while the agent had it open; it was written again, whole{other}"
        LOG.error("store %s", text)
        self.store.finding = text
        action = "Nothing for the link: the watch goes on. Find out who moved the file"
        self._news.append(notice(self._kept.now(), "act", "store", action, text))

    def _hold_the_same(self, *paths: Path) -> bool:
        """Whether two files have the same last readings and state; a damaged one has not."""
        try:
            found = [_left_in(path, self._kept.terminal) for path in paths]
        except (StoreError, sqlite3.Error):
            return False
        return found[0] == found[1]

    def _let_go(self) -> None:
        try:
            self.pipeline.close()
        except sqlite3.Error as error:
            LOG.warning("store %s: could not be closed in order (%s)", self._kept.path, error)

    def _set_aside(self, reason: str) -> None:
        if self._aside == MOST_SET_ASIDE:
            raise OSError(f"{reason}; {MOST_SET_ASIDE} files were set aside already, the disk is broken")
        name = set_aside(self._kept.path, time.time())
        self._aside += 1
        text = f"{self._kept.path} was damaged and is now {name.name} ({reason}); a new one is written"
        LOG.error("store %s", text)
        self.store.finding = f"{text}; peakshade rescue {name} OUT brings back what can be read"
        action = f"Nothing for the link: the watch goes on. Later: peakshade rescue {name} OUT"
        self._news.append(notice(self._kept.now(), "act", "store", action, text))


def _left_in(path: Path, terminal: str) -> Remains:
    with closing(open_for_reading(path)) as connection:
        return remains(connection, terminal)


def notice(unix_s: float, severity: Severity, rule: str, action: str, evidence: str) -> AlertEvent:
    """What the agent has to say of itself, in the form in which people hear of alerts."""
    return AlertEvent(
        unix_s=unix_s,
        rule=rule,
        severity=severity,
        state="raised",
        cause="none",
        action=action,
        evidence=(evidence,),
        figures={},
        deadline_unix_s=None,
    )
