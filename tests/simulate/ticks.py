"""When a sensor reports."""

from dataclasses import dataclass

import numpy as np

from tests.simulate.physics import PhysicalDay
from tests.simulate.scenario import Sensors
from tests.simulate.sky import FloatArray


@dataclass(frozen=True, slots=True)
class Ticks:
    """When a sensor reports: second of the day as index, and the stamp (Unix seconds)."""

    index: np.ndarray[tuple[int], np.dtype[np.intp]]
    unix_s: FloatArray


def ticks_of(day: PhysicalDay, step_s: float, sensors: Sensors, rng: np.random.Generator) -> Ticks:
    """Every `step_s` from the day's start to its end, late by a random share of the sensors' jitter."""
    offsets = np.arange(0.0, len(day.unix_s) - 1.0, step_s)
    if sensors.time_jitter_s > 0.0:
        offsets = offsets + rng.uniform(0.0, min(sensors.time_jitter_s, 0.9 * step_s), len(offsets))
        offsets = np.minimum(offsets, len(day.unix_s) - 1.0)
    return Ticks(offsets.astype(np.intp), np.round(day.unix_s[0] + offsets, 3))
