"""Times between which imported files hold nothing: a wrong date makes an hour of recording a year long."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from operator import attrgetter

from agent.replay.session_time import DAY_S, SiteClock


@dataclass(frozen=True, slots=True)
class Moment:
    """When a line of a file was written."""

    unix_s: float
    file: str
    line: int

    def text(self, clock: SiteClock) -> str:
        """The moment and its place."""
        return f"{clock.text(self.unix_s)} ({self.file}, line {self.line})"


@dataclass(frozen=True, slots=True)
class Stretch:
    """Moments of which no two neighbours are more than a day apart."""

    first: Moment
    last: Moment


def joined(parts: Iterable[Stretch]) -> list[Stretch]:
    """The parts in their order of time, those of any file that are less than a day apart as one."""
    found: list[Stretch] = []
    for part in sorted(parts, key=lambda one: one.first.unix_s):
        if found and part.first.unix_s - found[-1].last.unix_s <= DAY_S:
            last = max(found[-1].last, part.last, key=attrgetter("unix_s"))
            found[-1] = Stretch(found[-1].first, last)
        else:
            found.append(part)
    return found


def gaps_text(found: Sequence[Stretch], clock: SiteClock) -> list[str]:
    """A line for each gap."""
    return [
        f"nothing for {(after.first.unix_s - before.last.unix_s) / DAY_S:.0f} days, between"
        f" {before.last.text(clock)} and {after.first.text(clock)}: is one of the two dates wrong?"
        for before, after in zip(found, found[1:], strict=False)
    ]
