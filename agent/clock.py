"""The agent's clock: real time, or a recorded day played at a chosen speed."""

import time
from dataclasses import dataclass
from math import inf


@dataclass(frozen=True, slots=True)
class Clock:
    """Maps real time to the agent's time: `now = start_unix_s + speed * (monotonic time since creation)`.

    It stops at `end_unix_s`, where the recorded day is over.
    """

    start_unix_s: float
    monotonic_start_s: float
    speed: float
    end_unix_s: float = inf

    def now(self) -> float:
        """The agent's time, Unix seconds."""
        running_s = time.monotonic() - self.monotonic_start_s
        return min(self.end_unix_s, self.start_unix_s + self.speed * running_s)


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
