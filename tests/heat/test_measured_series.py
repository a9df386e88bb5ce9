"""The forecast on a measured series: a photovoltaic module in the sun, with air temperature and irradiance.

tests/reference/module_temperature.csv (pvlib python's published example data) says where it comes from. A
module is lighter than a transmitter and its wind changes, so it is the harder case. The irradiance and air
ahead are the measured ones: what is checked is the thermal model, not a cloud forecast.
"""

import csv
import math
import statistics
from pathlib import Path

from agent.heat.thermal import STEP_MIN, Thermometer, forecast

SERIES = Path(__file__).resolve().parent.parent / "reference" / "module_temperature.csv"
AHEAD_MIN = 20
LEARN_MIN = 30


def read_series() -> list[tuple[float, float, float]]:
    """(irradiance W/m2, air deg C, module deg C) of each minute."""
    lines = [line for line in SERIES.read_text().splitlines() if not line.startswith("#")]
    return [(float(sun), float(air), float(module)) for sun, air, module in list(csv.reader(lines))[1:]]


def ahead_of(rows: list[tuple[float, float, float]], minute: int) -> list[tuple[float, float]]:
    """Means of air and irradiance over the five-minute steps after `minute`."""
    steps = [rows[first : first + STEP_MIN] for first in range(minute + 1, len(rows), STEP_MIN)]
    return [(statistics.mean(r[1] for r in step), statistics.mean(r[0] for r in step)) for step in steps]


def test_time_to_a_temperature_that_is_reached_within_twenty_minutes() -> None:
    """Median error of the time to a level that was really reached, beside straight-line extrapolation."""
    rows = read_series()
    thermometer = Thermometer()
    errors_min, straight_min = [], []
    for minute, (sun, air, module) in enumerate(rows):
        thermometer.add(module)
        thermometer.close_minute((minute + 1) * 60.0, air, sun)
        if minute < LEARN_MIN or minute % 5 or minute + 2 * AHEAD_MIN >= len(rows):
            continue
        goal = rows[minute + AHEAD_MIN][2]
        if goal - module <= 2.0:
            continue
        reached_min = next(k for k in range(1, AHEAD_MIN + 1) if rows[minute + k][2] >= goal)
        slope = thermometer.slope_k_per_min()
        found = forecast(thermometer, goal, ahead_of(rows, minute))
        errors_min.append(abs(found.likely_s / 60.0 - reached_min))
        straight = (goal - module) / slope if slope > 0.0 else math.inf
        straight_min.append(abs(straight - reached_min))
    assert len(errors_min) >= 6
    assert statistics.median(errors_min) <= 5.0
    assert statistics.median(errors_min) < 0.5 * statistics.median(straight_min)
