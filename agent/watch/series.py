"""Decides how readings become cells and minutes, and how often an input speaks: what the trackers share."""

from bisect import bisect_left
from dataclasses import dataclass, field
from math import isnan, nan

GRID_S = 10.0  # the engine decides at whole multiples of this
BY_HAND_S = 600.0  # nobody is asked to read a screen more often; what is read so is old after three of these
BY_HAND_OLD_S = 3.0 * BY_HAND_S
LONGEST_SPACINGS = 4.0  # a gap counts no longer, so that outages do not teach (judgement)
NEW_SHARE = 0.1  # of what is typical, for the newest spacing: ten readings make a habit (judgement)


def median(values: list[float]) -> float:
    """Median of `values`; NaN when there are none."""
    if not values:
        return nan
    ordered = sorted(values)
    middle = len(ordered) // 2
    return ordered[middle] if len(ordered) % 2 else 0.5 * (ordered[middle - 1] + ordered[middle])


def forget(times_unix_s: list[float], before_unix_s: float) -> None:
    """Drop from an ordered list of moments those before `before_unix_s`."""
    while times_unix_s and times_unix_s[0] < before_unix_s:
        del times_unix_s[0]


@dataclass(slots=True)
class Interval:
    """Typical spacing of an input's readings (s) and when the last one came."""

    typical_s: float = nan
    last_unix_s: float = nan
    count: int = 0

    def seen(self, unix_s: float, by_hand: bool = False) -> None:
        """A reading came; a gap counts at most four times the typical spacing, so outages do not teach.

        What a person reads comes when it comes and teaches nothing.
        """
        spacing = unix_s - self.last_unix_s
        if spacing > 0.0 and not by_hand:
            typical_s = self.typical_s
            if isnan(typical_s):
                self.typical_s = spacing
            else:
                longest_s = LONGEST_SPACINGS * typical_s
                self.typical_s += NEW_SHARE * ((spacing if spacing < longest_s else longest_s) - typical_s)
        self.last_unix_s = unix_s
        self.count += 1


@dataclass(slots=True)
class Cells:
    """Means over the cells of the decision grid, newest last, at most `keep` of them."""

    keep: int
    unix_s: list[float] = field(default_factory=list)
    values: list[float] = field(default_factory=list)
    total: float = 0.0
    count: int = 0

    def add(self, value: float) -> None:
        """One sample of the open cell."""
        self.total += value
        self.count += 1

    def close(self, unix_s: float) -> float:
        """Close the cell that ends at `unix_s`; its mean, or NaN when nothing came."""
        mean = self.mean()
        if self.count:
            self.total = 0.0
            self.count = 0
            self.append(unix_s, mean)
        return mean

    def mean(self) -> float:
        """Mean of the open cell, NaN while nothing came."""
        return self.total / self.count if self.count else nan

    def append(self, unix_s: float, value: float) -> None:
        """Add a value that stands for the cell ending at `unix_s`."""
        self.unix_s.append(unix_s)
        self.values.append(value)
        if len(self.values) > self.keep:
            del self.unix_s[0], self.values[0]

    def since(self, unix_s: float) -> list[float]:
        """Values of the cells that ended at `unix_s` or later."""
        return self.values[bisect_left(self.unix_s, unix_s) :]

    def level(self, unix_s: float, window_s: float, least: int) -> float:
        """Median over the last `window_s`, or over the last `least` values where sampling is slower."""
        values = self.since(unix_s - window_s)
        return median(values if len(values) >= least else self.values[-least:])
