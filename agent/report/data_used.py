"""How much was sent and received, against what was booked."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import nan

from agent.job import Service
from agent.plan.span import Span
from agent.records import Throughput

BYTES_PER_GB = 1e9
BYTES_PER_MEGABIT = 1e6 / 8.0
# Two looks at the counters that lie further apart tell nothing of what was sent between them.
LONGEST_GAP_S = 300.0


@dataclass(frozen=True, slots=True, kw_only=True)
class DataUsed:
    """Bytes of all traffic by the terminal's counters, and of the booking.

    NaN where no counters were read, None where the booking is not said. `known_percent` is the share of the
    span that the counters cover.
    """

    counted_bytes: float
    known_percent: float
    allowance_bytes: float | None

    @property
    def share_percent(self) -> float:
        """Of the allowance; NaN where either is not known."""
        return nan if self.allowance_bytes is None else 100.0 * self.counted_bytes / self.allowance_bytes


def data_used(throughputs: Sequence[Throughput], service: Service, span: Span) -> DataUsed:
    """Add up what passive meters saw within `span`: each gives the rate since its look before."""
    looks = [one for one in throughputs if one.method == "passive" and span.contains(one.unix_s)]
    counted_bytes, known_s = 0.0, 0.0
    for before, one in pairwise(looks):
        seconds = one.unix_s - before.unix_s
        if seconds <= LONGEST_GAP_S:
            known_s += seconds
            counted_bytes += seconds * ((one.down_mbps or 0.0) + (one.up_mbps or 0.0)) * BYTES_PER_MEGABIT
    allowance_gb = service.allowance_gb
    return DataUsed(
        counted_bytes=counted_bytes if known_s else nan,
        known_percent=100.0 * known_s / (span.end_unix_s - span.start_unix_s),
        allowance_bytes=None if allowance_gb is None else allowance_gb * BYTES_PER_GB,
    )
