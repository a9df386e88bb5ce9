"""Round trips of probes as the figures of a path: delay, loss, jitter. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan
from statistics import median

JITTER_GAIN = 1.0 / 16.0  # RFC 3550, section 6.4.1


@dataclass(slots=True)
class Path:
    """A target's jitter goes on from round to round; `answered` says whether it has ever answered."""

    jitter_ms: float = 0.0
    last_rtt_ms: float = nan
    answered: bool = False

    def add(self, rtts_ms: Sequence[float | None]) -> "PathFigures":
        """One round of probes in their order, None for a lost one."""
        got = [rtt_ms for rtt_ms in rtts_ms if rtt_ms is not None]
        for rtt_ms in got:
            if self.answered:
                self.jitter_ms = next_jitter_ms(self.jitter_ms, self.last_rtt_ms, rtt_ms)
            self.last_rtt_ms, self.answered = rtt_ms, True
        return PathFigures(
            rtt_ms=median(got) if got else None,
            jitter_ms=self.jitter_ms if got else None,
            loss_percent=100.0 * (len(rtts_ms) - len(got)) / len(rtts_ms),
        )


@dataclass(frozen=True, slots=True)
class PathFigures:
    """One round: the median round trip and the jitter so far, None where nothing came back."""

    rtt_ms: float | None
    jitter_ms: float | None
    loss_percent: float


def next_jitter_ms(jitter_ms: float, before_ms: float, now_ms: float) -> float:
    """The jitter (ms) after one more transit time: J + (|D| - J) / 16.

    RFC 3550 (2003), section 6.4.1, takes one-way transits; with round trips both directions count.
    """
    return jitter_ms + (abs(now_ms - before_ms) - jitter_ms) * JITTER_GAIN
