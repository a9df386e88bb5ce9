"""The agent's clock: real time, or a recorded day played at a chosen speed."""

import time
from dataclasses import dataclass
from math import inf

# A played day is at most so far ahead of its readings, in real time.
LEAD_S = 1.0


@dataclass(slots=True)
class Clock:
    """Maps real time to the agent's time: `now = start_unix_s + speed * (monotonic time since creation)`.

    It stops at `end_unix_s`, where the recorded day is over. `awaited_unix_s` is the earliest reading still
    under way, which only grows: the clock waits for it, so that a slow computer plays more slowly.
    """

    start_unix_s: float
    monotonic_start_s: float
    speed: float
    end_unix_s: float = inf
    awaited_unix_s: float = inf

    def now(self) -> float:
        """The agent's time, Unix seconds."""
        played_unix_s = self.start_unix_s + self.speed * (time.monotonic() - self.monotonic_start_s)
        return min(played_unix_s, self.end_unix_s, self.awaited_unix_s + LEAD_S * self.speed)


def played_clock(start_unix_s: float, speed: float, end_unix_s: float = inf) -> Clock:
    """A clock that reads `start_unix_s` at this moment and runs `speed` times faster than real time."""
    return Clock(start_unix_s, time.monotonic(), speed, end_unix_s)


@dataclass(frozen=True, slots=True)
class WallClock:
    """The computer's own clock, followed through its corrections."""

    speed: float = 1.0

    def now(self) -> float:
        """Unix seconds."""
        return time.time()


AnyClock = Clock | WallClock
