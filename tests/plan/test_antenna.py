"""Gain, beamwidth, mis-pointing and polarisation mismatch."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plan.antenna import (
    beamwidth_deg,
    efficiency_from_gain,
    gain_dbi,
    pointing_error_deg,
    pointing_loss_db,
    polarisation_loss_db,
)
from tests.reference import cases

LOSS_DB = st.floats(0.0, 10.0)
BEAMWIDTH_DEG = st.floats(0.1, 5.0)


def test_reference_textbook_gain_and_beamwidth() -> None:
    # Maini and Agrawal, Ex 4.12 (printed 41.98 dBi, 1.75 deg), and three dishes recomputed from the
    # definitions, printed to 0.001 dB and 0.0001 deg.
    for case in cases("antenna_link_budget", having="theta3dB_deg"):
        row, expected = case["inputs"], case["expected"]
        printed = "Maini" in case["source"]
        gain = gain_dbi(row["D_m"], row["f_GHz"], row["eff"])
        assert gain == pytest.approx(expected["G_dBi"], abs=0.05 if printed else 0.001)
        width = beamwidth_deg(row["D_m"], row["f_GHz"])
        assert width == pytest.approx(expected["theta3dB_deg"], abs=0.02 if printed else 0.0001)


def test_reference_earth_station_gain() -> None:
    # Course notes after Pratt and Bostian, Ex 4.3.4: a 30 m dish, printed 60.6 dBi.
    case = cases("antenna_link_budget", having="T_rain_K")[0]
    row = case["inputs"]
    gain = gain_dbi(row["D_m"], row["f_MHz"] / 1000.0, row["eff"])
    assert gain == pytest.approx(case["expected"]["G_dBi"], abs=0.1)


def test_reference_mispointing() -> None:
    # L = 12 (theta / theta_3dB)^2 (Maral and Bousquet, from memory), worked for three dishes.
    for case in cases("antenna_link_budget", having="mispoint_0p2deg_loss_dB"):
        width = beamwidth_deg(case["inputs"]["D_m"], case["inputs"]["f_GHz"])
        expected = case["expected"]
        assert pointing_loss_db(0.2, width) == pytest.approx(expected["mispoint_0p2deg_loss_dB"], abs=0.001)
        half = pointing_loss_db(width / 2.0, width)
        assert half == pytest.approx(expected["mispoint_half_beam_loss_dB"], abs=1e-9)


def test_reference_half_power_is_at_half_of_the_beamwidth() -> None:
    # By the definition of the half-power beamwidth: 3 dB (half the power) at half of its full width.
    assert pointing_error_deg(3.0, 1.5) == pytest.approx(0.75)


@pytest.mark.parametrize(
    ("angle_deg", "loss_db"), [(0.0, 0.0), (45.0, 3.0103), (60.0, 6.0206), (-60.0, 6.0206)]
)
def test_reference_polarisation_mismatch(angle_deg: float, loss_db: float) -> None:
    # Malus: cos^2 of the angle; 1/2 at 45 deg, 1/4 at 60 deg.
    assert polarisation_loss_db(angle_deg) == pytest.approx(loss_db, abs=1e-4)


def test_crossed_polarisation_passes_nothing() -> None:
    assert polarisation_loss_db(90.0) > 300.0


@given(LOSS_DB, BEAMWIDTH_DEG)
def test_error_is_the_inverse_of_loss(loss_db: float, width_deg: float) -> None:
    assert pointing_loss_db(pointing_error_deg(loss_db, width_deg), width_deg) == pytest.approx(
        loss_db, abs=1e-9
    )


@given(st.floats(0.3, 5.0), st.floats(2.0, 31.0), st.floats(1.01, 2.0))
def test_bigger_or_higher_gains_more_and_sees_less(
    diameter_m: float, frequency_ghz: float, factor: float
) -> None:
    gain = gain_dbi(diameter_m, frequency_ghz, 0.6)
    assert gain_dbi(diameter_m * factor, frequency_ghz, 0.6) > gain
    assert gain_dbi(diameter_m, frequency_ghz * factor, 0.6) > gain
    assert beamwidth_deg(diameter_m * factor, frequency_ghz) < beamwidth_deg(diameter_m, frequency_ghz)
    # Gain goes with the square of the diameter over the wavelength.
    assert gain_dbi(diameter_m * factor, frequency_ghz / factor, 0.6) == pytest.approx(gain, abs=1e-9)


@given(st.floats(0.05, 1.0), st.floats(0.3, 5.0))
def test_efficiency_is_the_inverse_of_gain(efficiency: float, diameter_m: float) -> None:
    gain = gain_dbi(diameter_m, 11.45, efficiency)
    assert efficiency_from_gain(gain, diameter_m, 11.45) == pytest.approx(efficiency, rel=1e-9)


def test_nan_and_impossible_values() -> None:
    assert np.isnan(gain_dbi(np.nan, 11.0, 0.6)) and np.isnan(gain_dbi(-1.0, 11.0, 0.6))
    assert np.isnan(beamwidth_deg(1.0, 0.0)) and np.isnan(pointing_loss_db(np.nan, 1.0))
    assert np.isnan(pointing_error_deg(-0.1, 1.0)) and np.isnan(pointing_error_deg(1.0, np.nan))


def test_arrays_broadcast() -> None:
    assert gain_dbi(np.array([[0.75], [0.98]]), np.array([11.0, 12.0, 14.0]), 0.6).shape == (2, 3)
    assert pointing_loss_db(np.array([0.1, -0.1]), 1.5)[0] == pointing_loss_db(-0.1, 1.5)
