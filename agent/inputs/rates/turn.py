"""Whose turn it is to test the rate, and what the day's tests have cost: a file, locked while one tests.

The lock holds between the agent's own tasks and between programs; the costs outlive a restart.
"""

import json
import os
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from filelock import AsyncFileLock, FileLock, Timeout

from agent.config import Config
from agent.inputs.collectors.frame import CollectorError

WAIT_S = 120.0  # longer than any test lasts
LOOK_EVERY_S = 0.5


class BudgetSpent(CollectorError):
    """No test today any more."""


@dataclass(frozen=True, slots=True)
class Turn:
    """`path` is the file; days are those of the site."""

    path: Path
    zone: ZoneInfo

    def taken(self) -> bool:
        """Whether somebody tests at this moment."""
        try:
            with FileLock(self._lock_path, timeout=0.0, preserve_lock_file=True):
                return False
        except Timeout:
            return True

    @property
    def _lock_path(self) -> Path:
        return self.path.with_name(f"{self.path.name}.lock")

    @asynccontextmanager
    async def take(self, unix_s: float, reserve_bytes: int, day_bytes: int) -> AsyncIterator["Cost"]:
        """Wait for the turn and reserve so many bytes of the day; what was used is settled at the end.

        Raises BudgetSpent where the day has not that much left.
        """
        lock = AsyncFileLock(self._lock_path, run_in_executor=False, preserve_lock_file=True)
        try:
            await lock.acquire(WAIT_S, LOOK_EVERY_S)
        except Timeout:
            raise CollectorError("another test of the rate has run for minutes") from None
        try:
            day = datetime.fromtimestamp(unix_s, UTC).astimezone(self.zone).date().isoformat()
            spent_bytes = self._spent(day)
            if spent_bytes + reserve_bytes > day_bytes:
                raise BudgetSpent(
                    f"{spent_bytes / 1e6:.0f} MB of the day's {day_bytes / 1e6:.0f} MB are used, and a test"
                    f" may take {reserve_bytes / 1e6:.0f} MB; no more tests today"
                )
            # Where the program ends in the middle, the test has cost what it was allowed to cost.
            self._write(day, spent_bytes + reserve_bytes)
            cost = Cost(reserve_bytes)
            try:
                yield cost
            finally:
                self._write(day, spent_bytes + cost.used_bytes)
        finally:
            await lock.release()

    def _spent(self, day: str) -> int:
        if not self.path.exists():
            return 0
        try:
            kept = json.loads(self.path.read_bytes())
            return int(kept["bytes"]) if kept["day"] == day else 0
        except (ValueError, TypeError, KeyError):
            raise CollectorError(
                f"{self.path} does not tell what today's tests have used; remove it"
            ) from None

    def _write(self, day: str, count: int) -> None:
        """Whole or not at all: power may go at any moment."""
        draft = self.path.with_name(f"{self.path.name}.tmp")
        draft.write_text(json.dumps({"day": day, "bytes": count}), encoding="utf-8")
        os.replace(draft, self.path)


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
