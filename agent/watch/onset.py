"""How a loss of signal set in: within seconds, within minutes, or little by little."""

from dataclasses import dataclass
from math import inf, nan

from agent.watch.series import Cells

STUDIED_S = 480.0
JUMP_LEAST_DB = 0.3
JUMP_S = 20.0
KNOCKED_SHARE = 0.75
GROWN = 1.7
LEAST_RISE_DB = 0.4  # smaller rises drown in the cells' noise
DENSE_CELLS_S = 15.0  # rarer values are not smoothed: each may be the only one of its kind


@dataclass(slots=True)
class Onset:
    """The onset that began at `from_unix_s` on top of `base_db`, which had been lost before.

    `took_s` is the time from a third to three quarters of the loss: NaN not known, inf little by little.
    """

    from_unix_s: float = nan
    base_db: float = 0.0
    took_s: float = nan
    studied_db: float = nan

    def study(self, unix_s: float, loss_db: float, history: Cells, step_db: float) -> None:
        """Look again at the onset while it is young; `step_db` is the step of the display."""
        if unix_s - self.from_unix_s <= STUDIED_S:
            self.took_s = _took_s(loss_db, self.base_db, history, step_db)
            self.studied_db = loss_db
        elif loss_db > GROWN * self.studied_db:
            self.took_s = inf  # most of it came later


def _took_s(loss_db: float, base_db: float, history: Cells, step_db: float) -> float:
    rise_db = loss_db - base_db
    if rise_db < LEAST_RISE_DB:
        return nan
    values, times = history.values, history.unix_s
    dense = len(times) > 1 and times[-1] - times[0] <= DENSE_CELLS_S * len(times)
    if dense:
        values = _smoothed(values)
    # A display in steps shows a level that has hardly moved as a part of a step away.
    low, high = base_db + 0.33 * rise_db + min(0.2 * step_db, 0.1 * rise_db), base_db + 0.75 * rise_db
    small = next((i for i in range(len(values) - 1, -1, -1) if values[i] <= low), None)
    if small is None:
        return inf
    big = next((i for i in range(small + 1, len(values)) if values[i] >= high), None)
    if big is None:
        return nan
    jumps = _jumps_db(values[small:])
    # A gust may push twice: the time between two knocks is not the time that a shower takes.
    knocked = dense and len(jumps) <= 2 and sum(jumps) >= KNOCKED_SHARE * rise_db
    return JUMP_S if knocked else times[big] - times[small]


def _smoothed(values: list[float]) -> list[float]:
    """Medians of three neighbours: edges stay where they are, single outliers go."""
    inner = [sorted(values[i - 1 : i + 2])[1] for i in range(1, len(values) - 1)]
    return [*values[:1], *inner, *values[-1:]] if len(values) > 2 else values


def _jumps_db(values: list[float]) -> list[float]:
    """The abrupt rises among these cells: each over two cells, one after the other."""
    jumps = []
    index = 0
    while index + 2 < len(values):
        rise_db = values[index + 2] - values[index]
        if rise_db >= JUMP_LEAST_DB:
            jumps.append(rise_db)
            index += 2
        else:
            index += 1
    return jumps
