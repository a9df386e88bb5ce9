"""Whose turn it is to test the rate, and what the day's tests have cost: one file, locked while one tests.

The lock holds between the agent's own tasks and between programs; the costs outlive a restart.
"""

import asyncio
import fcntl
import json
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.config import Config
from agent.inputs.collectors.frame import CollectorError

WAIT_S = 120.0  # longer than any test lasts
LOOK_EVERY_S = 0.5
EMPTY = b""


class BudgetSpent(CollectorError):
    """No test today any more."""


@dataclass(frozen=True, slots=True)
class Turn:
    """`path` is the file; days are those of the site."""

    path: Path
    zone: ZoneInfo

    def taken(self) -> bool:
        """Whether somebody tests at this moment."""
        if not self.path.exists():
            return False
        descriptor = os.open(self.path, os.O_RDONLY)
        try:
            fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        finally:
            os.close(descriptor)
        return False

    @asynccontextmanager
    async def take(self, unix_s: float, reserve_bytes: int, day_bytes: int) -> AsyncIterator["Cost"]:
        """Wait for the turn and reserve so many bytes of the day; what was used is settled at the end.

        Raises BudgetSpent where the day has not that much left.
        """
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            await _lock(descriptor)
            day = datetime.fromtimestamp(unix_s, UTC).astimezone(self.zone).date().isoformat()
            spent_bytes = _spent(descriptor, day, self.path)
            if spent_bytes + reserve_bytes > day_bytes:
                raise BudgetSpent(
                    f"{spent_bytes / 1e6:.0f} MB of the day's {day_bytes / 1e6:.0f} MB are used, and a test"
                    f" may take {reserve_bytes / 1e6:.0f} MB; no more tests today"
                )
            # Where the program ends in the middle, the test has cost what it was allowed to cost.
            _write(descriptor, day, spent_bytes + reserve_bytes)
            cost = Cost(reserve_bytes)
            try:
                yield cost
            finally:
                _write(descriptor, day, spent_bytes + cost.used_bytes)
        finally:
            os.close(descriptor)


@dataclass(slots=True)
class Cost:
    """What a test has used, and what it may."""

    allowed_bytes: int
    used_bytes: int = 0

    @property
    def left_bytes(self) -> int:
        """What it may still use."""
        return self.allowed_bytes - self.used_bytes


def turn_of(config: Config) -> Turn:
    """The turn of an agent: its file lies beside the store."""
    path = config.store.path
    return Turn(path.with_name(f"{path.name}.tests.json"), ZoneInfo(config.job.site.time_zone))


async def _lock(descriptor: int) -> None:
    loop = asyncio.get_running_loop()
    deadline_s = loop.time() + WAIT_S
    while True:
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            if loop.time() > deadline_s:
                raise CollectorError("another test of the rate has run for minutes") from None
            await asyncio.sleep(LOOK_EVERY_S)
        else:
            return


def _spent(descriptor: int, day: str, path: Path) -> int:
    text = os.pread(descriptor, 1000, 0)
    if text == EMPTY:
        return 0
    try:
        kept = json.loads(text)
        return int(kept["bytes"]) if kept["day"] == day else 0
    except (ValueError, TypeError, KeyError):
        raise CollectorError(f"{path} does not tell what today's tests have used; remove it") from None


def _write(descriptor: int, day: str, count: int) -> None:
    text = json.dumps({"day": day, "bytes": count}).encode()
    os.pwrite(descriptor, text, 0)
    os.ftruncate(descriptor, len(text))
