"""Decides on which levels of loss the courses live, and how a loss spreads over them."""

from collections.abc import Callable
from math import pi, sqrt

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

FINE_DB = 0.12  # about the step of a modem's display
COARSE_RATIO = 1.085  # deeper, nobody asks for tenths
# From 1.2 dB above the reference to where no modem is locked (about 30 dB).
LEVELS_DB: Floats = np.concatenate([np.arange(-10, 25) * FINE_DB, 3.0 * COARSE_RATIO ** np.arange(29)])
EDGES_DB: Floats = np.concatenate([[-np.inf], 0.5 * (LEVELS_DB[1:] + LEVELS_DB[:-1]), [np.inf]])
SPACING_DB: Floats = np.gradient(LEVELS_DB)
COUNT = len(LEVELS_DB)
LEAST_DB = 0.05  # a loss whose logarithm is taken is no less
LOGISTIC = 1.702  # the normal distribution as a logistic one, good to 0.01 (Camilli 1994; common practice)
FAR, STEEPEST = 1e6, 60.0  # beyond, a distribution is 0 or 1 in floating point
NEAREST_DB = 1e-3

Cumulative = Callable[[Floats], Floats]


def normal(off: Floats) -> Floats:
    """Cumulative normal distribution of standard deviations, 0 to 1."""
    cumulative: Floats = 1.0 / (1.0 + np.exp(np.minimum(np.maximum(-LOGISTIC * off, -STEEPEST), STEEPEST)))
    return cumulative


def student(off: Floats) -> Floats:
    """Cumulative Student distribution of three degrees of freedom, 0 to 1 (the fade slope's, P.1623)."""
    x = np.clip(off, -FAR, FAR) / sqrt(3.0)
    cumulative: Floats = 0.5 + (x / (1.0 + x * x) + np.arctan(x)) / pi
    return cumulative


def spread(mean_db: Floats, scale_db: Floats, cumulative: Cumulative = normal) -> Floats:
    """Row i: how a loss near `mean_db[i]` spreads over the levels, shape (rows, levels), each row 1."""
    rows = np.diff(cumulative((EDGES_DB - mean_db[:, np.newaxis]) / scale_db[:, np.newaxis]))
    return normed(rows)


def spread_log(mean_log: Floats, scale_log: Floats, cumulative: Cumulative = normal) -> Floats:
    """As `spread` for the natural logarithm of the loss in dB."""
    edges = np.where(EDGES_DB <= LEAST_DB, -np.inf, np.log(np.maximum(EDGES_DB, LEAST_DB)))
    rows = np.diff(cumulative((edges - mean_log[:, np.newaxis]) / scale_log[:, np.newaxis]))
    return normed(rows)


def added(from_db: Floats, median_db: float, scale_log: float) -> Floats:
    """Row i: `from_db[i]` with a log-normal loss on top of it, shape (rows, levels)."""
    on_top = np.maximum(EDGES_DB - from_db[:, np.newaxis], NEAREST_DB)
    return normed(np.diff(normal((np.log(on_top) - np.log(median_db)) / scale_log)))


def normed(rows: Floats) -> Floats:
    """Each row divided by its sum."""
    shares: Floats = rows / rows.sum(axis=-1, keepdims=True)
    return shares
