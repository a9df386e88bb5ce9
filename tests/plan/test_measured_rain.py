"""The prediction held against what was measured: total excess attenuation of a beacon over two years."""

import numpy as np
import pytest

from agent.plan import propagation
from tests.reference import Case, cases


@pytest.mark.parametrize("case", cases("measured_attenuation"), ids=["20 GHz", "39 GHz"])
def test_rain_against_the_measured_statistics(case: Case) -> None:
    told = case["inputs"]
    path = propagation.SlantPath(
        latitude_deg=told["lat_deg"],
        longitude_deg=told["lon_deg"],
        height_m=told["height_m"],
        elevation_deg=told["elevation_deg"],
        frequency_ghz=told["f_GHz"],
        tilt_deg=45.0,
        diameter_m=1.2,
        efficiency=0.6,
    )
    sky = propagation.attenuation(path, np.array([told[f"p_{number}"] for number in (1, 2, 3)]))
    measured_db = np.array([case["expected"][f"A_{number}"] for number in (1, 2, 3)])
    assert sky.rain_db == pytest.approx(measured_db, rel=0.16)
    # Measured without gas. What the plan counts is not less than what came.
    excess = (sky.total_db - sky.gas_db) / measured_db
    assert np.all(excess >= 0.98) and np.all(excess <= 1.5)
