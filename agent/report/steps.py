"""Yes-or-no courses over time, with gaps: what availability is counted from."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan
from typing import TypeAlias

import numpy as np
import numpy.typing as npt

from agent.plan.span import Span

FloatArray: TypeAlias = npt.NDArray[np.float64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]

# A reading stands until the next one, but not for longer than this many usual intervals.
HOLD_INTERVALS = 3.0


@dataclass(frozen=True, slots=True)
class Steps:
    """From `start_unix_s[i]` to `end_unix_s[i]` the answer was `good[i]`; between these nothing is known.

    The pieces do not overlap and stand in the order of time.
    """

    start_unix_s: FloatArray
    end_unix_s: FloatArray
    good: BoolArray

    @property
    def known_s(self) -> float:
        """How long the answer is known (s)."""
        return float(np.sum(self.end_unix_s - self.start_unix_s))

    @property
    def good_s(self) -> float:
        """How long the answer was yes (s)."""
        return float(np.sum((self.end_unix_s - self.start_unix_s)[self.good]))

    def bad_spans(self) -> tuple[Span, ...]:
        """Unbroken spans in which the answer was no, in the order of time."""
        spans: list[Span] = []
        for start, end, good in zip(self.start_unix_s, self.end_unix_s, self.good, strict=True):
            if good:
                continue
            if spans and spans[-1].end_unix_s == start:
                spans[-1] = Span(spans[-1].start_unix_s, float(end))
            else:
                spans.append(Span(float(start), float(end)))
        return tuple(spans)


def hold_s(unix_s: FloatArray) -> float:
    """How long one reading stands (s): three median intervals; NaN with fewer than two moments."""
    gaps = np.diff(unix_s)
    gaps = gaps[gaps > 0.0]
    return HOLD_INTERVALS * float(np.median(gaps)) if gaps.size else nan


def steps(unix_s: Sequence[float], good: Sequence[bool], span: Span) -> Steps:
    """The course of answers given at `unix_s` (ascending), within `span`.

    Each stands until the next one, at most `hold_s`; the last, too. Fewer than two moments say nothing about
    how long they stand: nothing is known.
    """
    times = np.asarray(unix_s, dtype=np.float64)
    longest_s = hold_s(times)
    if np.isnan(longest_s):
        times = times[:0]
    answers = np.asarray(good, dtype=np.bool_)[: times.size]
    ends = np.minimum(np.append(times[1:], np.inf), times + longest_s)
    starts, ends = np.clip(times, *_limits(span)), np.clip(ends, *_limits(span))
    lasting = ends > starts
    return Steps(starts[lasting], ends[lasting], answers[lasting])


def _limits(span: Span) -> tuple[float, float]:
    return span.start_unix_s, span.end_unix_s


def both(one: Steps, other: Steps) -> Steps:
    """Good where both are known to be good, bad where either is known to be bad, else not known."""
    edges = np.unique(
        np.concatenate([one.start_unix_s, one.end_unix_s, other.start_unix_s, other.end_unix_s])
    )
    starts, ends = edges[:-1], edges[1:]
    middles = 0.5 * (starts + ends)
    (known_one, good_one), (known_other, good_other) = _at(one, middles), _at(other, middles)
    good = good_one & good_other
    known = good | (known_one & ~good_one) | (known_other & ~good_other)
    return Steps(starts[known], ends[known], good[known])


def _at(course: Steps, moments: FloatArray) -> tuple[BoolArray, BoolArray]:
    """Whether the answer is known at each moment, and whether it is yes."""
    if not course.start_unix_s.size:
        nothing = np.zeros(moments.shape, dtype=np.bool_)
        return nothing, nothing
    index = np.searchsorted(course.start_unix_s, moments, side="right") - 1
    known = (index >= 0) & (moments < course.end_unix_s[index])
    return known, known & course.good[index]
