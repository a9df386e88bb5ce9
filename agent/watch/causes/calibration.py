"""Decides how sure to say one is of a cause: as often as it was right, and never surer than the posterior."""

from collections.abc import Mapping
from typing import NamedTuple

from numpy import interp

from agent.watch.causes.names import LossCause


class Point(NamedTuple):
    """Alerts of about one posterior: its mean, how often the cause was right, and of how many cases."""

    posterior: float  # 0 to 1
    right: float  # 0 to 1, by Laplace's rule of succession: (right + 1) / (cases + 2)
    cases: int


# Fitted on the alerts of invented days of an independent simulator: of a turned dish on 2026-11-28 on 60 days
# (seeds 2000 to 2059), of rain on 2026-11-27 on 120 (seeds 0 to 119): 60 hold but 30 alerts of rain.
# Neighbours are pooled until the shares rise (isotonic regression by pooling adjacent violators).
CALIBRATION: Mapping[LossCause, tuple[Point, ...]] = {
    "mispoint": (
        Point(0.357, 0.500, 16),
        Point(0.602, 0.556, 16),
        Point(0.709, 0.632, 17),
        Point(0.804, 0.794, 32),
        Point(0.945, 0.947, 17),
    ),
    "rain": (
        Point(0.798, 0.421, 17),
        Point(0.903, 0.859, 62),
        Point(0.960, 0.875, 14),
        Point(0.997, 0.923, 11),
    ),
}


def stated(cause: LossCause, posterior: float) -> float:
    """The confidence to state (0 to 1) for the posterior (0 to 1).

    Straight between the points, from 0 below them, level above; a cause without points is stated as it is.
    """
    points = CALIBRATION.get(cause)
    if points is None:
        return posterior
    right = interp(
        posterior, [0.0, *(one.posterior for one in points)], [0.0, *(one.right for one in points)]
    )
    return min(posterior, float(right))
