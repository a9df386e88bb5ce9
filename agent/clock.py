"""The agent's clock: the computer's at the start and steady since, or a played day at a chosen speed."""

import sys
import time
from dataclasses import dataclass
from math import inf

from agent.records import ClockChange

# A played day is at most so far ahead of its readings, in real time.
LEAD_S = 1.0
# A smaller correction of the computer's clock is lost among the delays of messages.
CORRECTION_S = 2.0


def steady_s() -> float:
    """Seconds of a clock that nobody sets; where the system has one, it also counts while a laptop sleeps."""
    if sys.platform == "linux":
        return time.clock_gettime(time.CLOCK_BOOTTIME)
    else:
        return time.monotonic()


@dataclass(slots=True)
class Clock:
    """Maps steady time to the agent's time: `now = start_unix_s + speed * (steady time since its start)`.

    It stops at `end_unix_s`, where the recorded day is over. `awaited_unix_s` is the earliest reading still
    under way, which only grows: the clock waits for it, so that a slow computer plays more slowly.
    `offset_s` is the computer's clock less this one, as far as it is known.
    """

    start_unix_s: float
    steady_start_s: float
    speed: float
    end_unix_s: float = inf
    awaited_unix_s: float = inf
    follows_computer: bool = False
    offset_s: float = 0.0
    floor_unix_s: float = -inf

    def now(self) -> float:
        """The agent's time, Unix seconds. It never runs back, whatever is done to the computer's clock."""
        played_unix_s = self.start_unix_s + self.speed * (steady_s() - self.steady_start_s)
        reached_unix_s = min(played_unix_s, self.end_unix_s, self.awaited_unix_s + LEAD_S * self.speed)
        return max(reached_unix_s, self.floor_unix_s)

    def shown(self) -> float:
        """The time that people and devices know: the computer's own, or that of the played day."""
        return self.now() + self.offset_s

    def run_at(self, speed: float) -> None:
        """A played day goes on at another speed from now on."""
        self.floor_unix_s = self.start_unix_s = self.now()
        self.steady_start_s, self.speed = steady_s(), speed

    def go_on(self, latest_unix_s: float, offset_s: float, computer_unix_s: float) -> ClockChange | None:
        """Go on after an earlier run, whose time came to `latest_unix_s` with this offset.

        The agent's time is the computer's again as soon as that does not run back. Returns what the engine
        has to know of it, as of the last moment of that run; None for a played day.
        """
        if not self.follows_computer:
            return None
        stepped_s = 0.0
        if computer_unix_s >= latest_unix_s:
            now_unix_s = computer_unix_s
        else:
            now_unix_s = max(latest_unix_s, computer_unix_s - offset_s)
            stepped_s = computer_unix_s - offset_s - now_unix_s
        self.start_unix_s, self.steady_start_s = now_unix_s, steady_s()
        self.offset_s = computer_unix_s - now_unix_s
        return ClockChange(
            unix_s=latest_unix_s + self.offset_s,
            stepped_s=stepped_s if stepped_s < -CORRECTION_S else 0.0,
            offset_s=self.offset_s,
            restarted=True,
        )

    def look(self, computer_unix_s: float) -> ClockChange | None:
        """What has become of the computer's clock since the last look: None where nobody has set it."""
        stepped_s = computer_unix_s - self.shown()
        if not self.follows_computer or abs(stepped_s) <= CORRECTION_S:
            return None
        self.offset_s += stepped_s
        return ClockChange(unix_s=self.shown(), stepped_s=stepped_s, offset_s=self.offset_s)


def computer_clock() -> Clock:
    """The computer's own clock at this moment, and steady from now on."""
    return Clock(time.time(), steady_s(), 1.0, follows_computer=True)


def played_clock(start_unix_s: float, speed: float, end_unix_s: float = inf) -> Clock:
    """A clock that reads `start_unix_s` at this moment and runs `speed` times faster than real time."""
    return Clock(start_unix_s, steady_s(), speed, end_unix_s)


def change_in_words(change: ClockChange) -> str:
    """For the log."""
    how = "forward" if change.stepped_s > 0.0 else "back"
    return f"this computer's clock was set {how} by {abs(change.stepped_s):.1f} s; the watch goes on"
