"""Measured Es/N0 against the plan, and its distribution."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import nan
from typing import Literal

import numpy as np

from agent.link_plan import LinkPlan
from agent.plan.span import Span
from agent.records import Signal

PERCENTS = (1.0, 5.0, 25.0, 50.0, 75.0, 95.0, 99.0)
BIN_DB = 0.5
MINUTE_S = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Distribution:
    """The readings of one direction (dB). `percentiles_db` belong to `PERCENTS`; NaN without a reading.

    `shares[i]` is the share of the readings from `first_bin_db + i * BIN_DB` up to the next bin.
    """

    direction: Literal["down", "up"]
    count: int
    percentiles_db: tuple[float, ...]
    lowest_db: float
    highest_db: float
    plan_db: float
    required_db: float
    first_bin_db: float
    shares: tuple[float, ...]

    @property
    def median_db(self) -> float:
        """The value that half of the readings reach."""
        return self.percentiles_db[PERCENTS.index(50.0)]

    @property
    def over_plan_db(self) -> float:
        """Median minus the plan's clear-sky value; negative: the terminal gave less than planned."""
        return self.median_db - self.plan_db

    @property
    def margin_db(self) -> float:
        """Median minus what the booked rate needs."""
        return self.median_db - self.required_db


def distributions(signals: Sequence[Signal], plan: LinkPlan, span: Span) -> tuple[Distribution, Distribution]:
    """Down and up, over the readings within `span`, each counted once."""
    within = [one for one in signals if span.contains(one.unix_s)]
    down = [one.esno_db for one in within if one.esno_db is not None]
    up = [one.uplink_esno_db for one in within if one.uplink_esno_db is not None]
    return (
        _distribution("down", down, plan.downlink.esno_clear_db, plan.downlink.required_esno_db),
        _distribution("up", up, plan.uplink.esno_clear_db, plan.uplink.required_esno_db),
    )


def minute_medians(
    signals: Sequence[Signal], value_of: Callable[[Signal], float | None]
) -> tuple[list[float], list[float]]:
    """Middles of the minutes from the first reading to the last, and the median of each, NaN without one."""
    minutes: dict[int, list[float]] = {}
    for one in signals:
        value = value_of(one)
        if value is not None:
            minutes.setdefault(int(one.unix_s // MINUTE_S), []).append(value)
    whole = range(min(minutes, default=0), max(minutes, default=-1) + 1)
    medians = [float(np.median(minutes[minute])) if minute in minutes else nan for minute in whole]
    return [(minute + 0.5) * MINUTE_S for minute in whole], medians


def _distribution(
    direction: Literal["down", "up"], values_db: Sequence[float], plan_db: float, required_db: float
) -> Distribution:
    """Percentiles interpolate linearly between readings (numpy's default)."""
    values = np.asarray(values_db, dtype=np.float64)
    found = np.percentile(values, PERCENTS).tolist() if values.size else [nan] * len(PERCENTS)
    first_bin_db, shares = _histogram(values)
    return Distribution(
        direction=direction,
        count=values.size,
        percentiles_db=tuple(found),
        lowest_db=float(values.min()) if values.size else nan,
        highest_db=float(values.max()) if values.size else nan,
        plan_db=plan_db,
        required_db=required_db,
        first_bin_db=first_bin_db,
        shares=shares,
    )


def _histogram(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float, tuple[float, ...]]:
    if not values.size:
        return nan, ()
    # A modem's steps of 0.1 dB are not exact in binary: a hair keeps 7.0 out of the bin that ends at 7.0.
    bins = np.floor(values / BIN_DB + 1e-9).astype(np.int64)
    counts = np.bincount(bins - bins.min())
    return float(bins.min()) * BIN_DB, tuple((counts / values.size).tolist())
