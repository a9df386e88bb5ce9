"""The loss behind thick clouds, against a reference library's ITU-R P.840."""

from math import isnan

import pytest
from itur.models import itu840

from agent.watch.cloud import AT_20_GHZ_DB, WATER_KG_M2, cloud_loss_db


@pytest.mark.parametrize("frequency_ghz", [4.0, 12.0, 20.0])
def test_cloud_water_attenuates_as_in_p_840(frequency_ghz: float) -> None:
    """ITU-R P.840-8 (itur 0.4.0), its coefficient at 5 degC; Rayleigh's law holds within a tenth."""
    coefficient = float(itu840.specific_attenuation_coefficients(frequency_ghz, T=5.0))
    assert AT_20_GHZ_DB * (frequency_ghz / 20.0) ** 2 == pytest.approx(coefficient, rel=0.1)


def test_at_the_zenith_the_attenuation_and_its_noise_count() -> None:
    """0.28 dB at 275 K add 17 K to 170 K, by ITU-R P.618-14 section 3 (from memory): 0.4 dB more."""
    assert pytest.approx(0.28, abs=0.005) == AT_20_GHZ_DB * WATER_KG_M2
    assert cloud_loss_db(20.0, 90.0, 170.0) == pytest.approx(0.28 + 0.42, abs=0.02)


def test_a_low_satellite_is_seen_through_more_cloud_and_one_below_the_horizon_not_at_all() -> None:
    assert cloud_loss_db(20.0, 15.0, 170.0) > 2.0 * cloud_loss_db(20.0, 45.0, 170.0)
    assert isnan(cloud_loss_db(20.0, -3.0, 170.0))
