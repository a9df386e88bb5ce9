"""The link equation and the noise chain against worked examples of textbooks, all items of each."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plan.antenna import gain_dbi
from agent.plan.constants import SPEED_OF_LIGHT_M_S
from agent.plan.equations import (
    cn0_dbhz,
    combined_db,
    decibels,
    eirp_dbw,
    esno_db,
    free_space_loss_db,
    gt_dbk,
    ratio,
    sky_noise_k,
    system_noise_k,
)
from tests.reference import Case, cases

POSITIVE = st.floats(0.1, 1e4)
DB = st.floats(-60.0, 60.0)


def example(words: str) -> Case:
    """The worked example with these words in its source."""
    chosen = [case for case in cases("antenna_link_budget") if words in case["source"]]
    assert len(chosen) == 1, words
    return chosen[0]


def test_reference_eirp() -> None:
    # Roddy, Ex 12.1: 6 W and 48.2 dBi, printed 56 dBW.
    case = example("Ex 12.1 ")
    found = eirp_dbw(case["inputs"]["P_W"], 0.0, 0.0, case["inputs"]["G_dBi"])
    assert found == pytest.approx(case["expected"]["EIRP_dBW"], abs=0.05)


def test_reference_amplifier_size() -> None:
    # Roddy, Ex 12.15: 56 dBW with 6 dB back-off, 2 dB feeder and 50 dBi want 14 dBW at saturation.
    case = example("Ex 12.15")
    row = case["inputs"]
    saturated_w = float(ratio(case["expected"]["P_sat_dBW"]))
    found = eirp_dbw(saturated_w, row["OBO_dB"], row["tx_feeder_dB"], row["G_dBi"])
    assert found == pytest.approx(row["EIRP_dBW"], abs=1e-9)
    assert decibels(saturated_w) - row["OBO_dB"] == pytest.approx(case["expected"]["P_amp_dBW"], abs=1e-9)


def test_reference_free_space_loss() -> None:
    # Roddy, Ex 12.3: the book's constant is 32.4 where 32.45 is exact, hence 0.1 dB.
    case = example("Ex 12.3 ")
    found = free_space_loss_db(case["inputs"]["range_km"], case["inputs"]["f_MHz"] / 1000.0)
    assert found == pytest.approx(case["expected"]["FSL_dB"], abs=0.1)
    definition = example("Friis / FSL")
    losses = free_space_loss_db(
        np.array(definition["inputs"]["range_km"]), np.array(definition["inputs"]["f_GHz"])
    )
    np.testing.assert_allclose(losses, definition["expected"]["FSL_dB"], atol=0.005)


def test_reference_noise_density() -> None:
    # Roddy, Ex 12.5: 135 K make 1.86e-21 W/Hz; C/N0 of a received 0 dBW through G/T of -10 log T.
    case = example("Ex 12.5 ")
    total_k = system_noise_k(case["inputs"]["T_ant_K"], 0.0, case["inputs"]["T_rx_K"])
    density = 1.0 / ratio(cn0_dbhz(0.0, 0.0, gt_dbk(0.0, 0.0, total_k)))
    assert density == pytest.approx(case["expected"]["N0_W_Hz"], rel=1e-3)
    power_pw = density * case["inputs"]["B_MHz"] * 1e6 * 1e12
    assert power_pw == pytest.approx(case["expected"]["P_N_pW"], rel=1e-3)


def test_reference_receiver_before_the_cable() -> None:
    # Roddy, Ex 12.7: behind 50 dB of gain the 5 dB cable and a 12 dB receiver add half a kelvin.
    case = example("Ex 12.7 ")
    total_k = system_noise_k(case["inputs"]["T_ant_K"], 0.0, case["inputs"]["T_LNA_K"])
    assert total_k == pytest.approx(case["expected"]["T_sys_K"], abs=0.6)


def test_reference_feeder_loss() -> None:
    # Maini and Agrawal, Ex 7.8: feeder at 300 K, no loss 100 K and 1.5 dB of loss.
    case = example("Ex 7.8 ")
    row = case["inputs"]
    total_k = system_noise_k(row["T_ant_K"], np.array(row["feeder_dB"]), row["T_rx_K"], row["T_feeder_K"])
    # The book refers the noise to the antenna's side of the feeder less the loss: 50/L + 300 (1 - 1/L) + 50.
    np.testing.assert_allclose(total_k, case["expected"]["T_sys_K"], atol=0.1)


def test_reference_figure_of_merit_clear_and_in_rain() -> None:
    # Course notes after Pratt and Bostian, Ex 4.3.4.
    case = example("Ex 4.3.4")
    row, expected = case["inputs"], case["expected"]
    gain = gain_dbi(row["D_m"], row["f_MHz"] / 1000.0, row["eff"])
    assert gt_dbk(gain, 0.0, row["T_clear_K"]) == pytest.approx(expected["G_T_clear"], abs=0.1)
    assert gt_dbk(gain, 0.0, row["T_rain_K"]) == pytest.approx(expected["G_T_rain"], abs=0.1)


def test_reference_budget_at_12_ghz() -> None:
    # Roddy, Ex 12.9: all items.
    case = example("Ex 12.9 ")
    row = case["inputs"]
    losses_db = row["FSL_dB"] + row["pointing_dB"] + row["atm_dB"] + row["rx_feeder_dB"]
    found = cn0_dbhz(row["EIRP_dBW"], losses_db, row["G_T_dB_K"])
    assert found == pytest.approx(case["expected"]["C_N0_dBHz"], abs=0.05)


def test_reference_uplink_by_flux_density() -> None:
    # Roddy, Ex 12.11: flux density less back-off over an isotropic aperture of lambda^2 / (4 pi).
    case = example("Ex 12.11")
    row = case["inputs"]
    wavelength_m = SPEED_OF_LIGHT_M_S / (row["f_GHz"] * 1e9)
    received_dbw = row["SFD_dBW_m2"] - row["input_backoff_dB"] + decibels(wavelength_m**2 / (4.0 * np.pi))
    found = cn0_dbhz(received_dbw, row["rx_feeder_dB"], row["G_T_dB_K"])
    assert found == pytest.approx(case["expected"]["C_N0_dBHz"], abs=0.1)


def test_reference_digital_downlink() -> None:
    # Roddy, Ex 12.13: QPSK, 36 MHz at roll-off 0.2 are 30 Msps and 60 Mbit/s; Eb/N0 of 9.6 dB needs 27.8 dBW.
    case = example("Ex 12.13")
    row, expected = case["inputs"], case["expected"]
    symbol_rate_msps = row["B_MHz"] / (1.0 + row["rolloff"])
    assert 2.0 * symbol_rate_msps == pytest.approx(expected["Rb_Mbps"])
    symbol_db = esno_db(cn0_dbhz(expected["EIRP_dBW"], row["losses_dB"], row["G_T_dB_K"]), symbol_rate_msps)
    assert symbol_db - decibels(2.0) == pytest.approx(row["Eb_N0_dB"], abs=0.05)


def test_reference_complete_uplink() -> None:
    # Roddy and Coolen, Ex 19.14.1: 600 W, feeders, misalignment, polarisation and atmosphere.
    case = example("19.14.1")
    row = case["inputs"]
    losses_db = (
        row["FSL_dB"] + row["misalign_dB"] + row["polarisation_dB"] + row["atm_dB"] + row["rx_feeder_dB"]
    )
    found = cn0_dbhz(
        eirp_dbw(row["P_HPA_W"], 0.0, row["tx_feeder_dB"], row["G_es_dBi"]), losses_db, row["G_T_sat"]
    )
    assert found == pytest.approx(case["expected"]["C_N0_dBHz"], abs=0.02)


def test_reference_complete_uplink_with_margin() -> None:
    # Maini and Agrawal, Ex 7.15: every printed item.
    case = example("Ex 7.15")
    row, expected = case["inputs"], case["expected"]
    # The gain 4 pi eta A / lambda^2 of the aperture, as a round dish of the same area.
    gain = gain_dbi(np.sqrt(4.0 * row["aperture_m2"] / np.pi), row["f_GHz"], row["eff"])
    assert gain == pytest.approx(expected["G_dBi"], abs=0.05)
    loss_db = free_space_loss_db(row["range_km"], row["f_GHz"])
    assert loss_db == pytest.approx(expected["FSL_dB"], abs=0.05)
    received_dbw = row["EIRP_dBW"] - loss_db - row["atm_dB"] + gain
    assert received_dbw == pytest.approx(expected["P_rx_dBW"], abs=0.05)
    density = cn0_dbhz(row["EIRP_dBW"], loss_db + row["atm_dB"], gt_dbk(gain, 0.0, row["T_K"]))
    carrier_to_noise_db = esno_db(density, row["B_MHz"])
    assert received_dbw - carrier_to_noise_db == pytest.approx(expected["N_dBW"], abs=0.05)
    assert carrier_to_noise_db == pytest.approx(expected["C_N_dB"], abs=0.05)
    assert carrier_to_noise_db - row["required_C_N_dB"] == pytest.approx(expected["margin_dB"], abs=0.05)


@pytest.mark.parametrize(
    ("words", "parts", "total"),
    [
        ("Ex 12.18", ("C_N0_up_dBHz", "C_N0_down_dBHz"), "C_N0_total_dBHz"),
        ("Ex 12.20", ("up", "down", "intermod"), "total_dB"),
        ("19.16.1", ("up", "down"), "total_dBHz"),
    ],
)
def test_reference_ratios_together(words: str, parts: tuple[str, ...], total: str) -> None:
    # Roddy. Scripted solutions of 12.18 and 19.16.1 in circulation print 89.59 and 79.59 by an integer
    # division; the sums of the inverse ratios are 86.79 and 77.59.
    case = example(words)
    found = combined_db(*(case["inputs"][part] for part in parts))
    assert found == pytest.approx(case["expected"][total], abs=0.02)


def test_reference_sky_noise() -> None:
    # P.618-13 eq. 69: 2.7 K through nothing, the radiating temperature through a wall, half and half at 3 dB.
    assert sky_noise_k(0.0, 275.0) == pytest.approx(2.7)
    assert sky_noise_k(300.0, 275.0) == pytest.approx(275.0)
    assert sky_noise_k(10.0 * np.log10(2.0), 275.0) == pytest.approx((275.0 + 2.7) / 2.0)


def test_reference_attenuator_at_one_temperature() -> None:
    # In thermal balance a lossy feed changes nothing: antenna and feed at 290 K give 290 K at any loss.
    np.testing.assert_allclose(system_noise_k(290.0, np.array([0.0, 0.2, 3.0, 20.0]), 0.0), 290.0)


@given(POSITIVE, POSITIVE, st.floats(1.01, 3.0))
def test_path_loss_grows_with_range_and_frequency(
    range_km: float, frequency_ghz: float, factor: float
) -> None:
    loss_db = free_space_loss_db(range_km, frequency_ghz)
    assert free_space_loss_db(range_km * factor, frequency_ghz) > loss_db
    assert free_space_loss_db(range_km, frequency_ghz * factor) > loss_db
    # Twice as far is 6.02 dB more.
    assert free_space_loss_db(2.0 * range_km, frequency_ghz) - loss_db == pytest.approx(6.0206, abs=1e-4)


@given(DB, DB)
def test_together_is_worse_than_each(first_db: float, second_db: float) -> None:
    together = combined_db(first_db, second_db)
    assert together < min(first_db, second_db)
    assert together >= min(first_db, second_db) - 3.0103
    assert combined_db(second_db, first_db) == pytest.approx(float(together))


def test_together_far_below_the_noise_does_not_overflow() -> None:
    # 60 GHz close to the horizon is thousands of dB down; two equal ratios together are 3.01 dB lower.
    assert combined_db(-5000.0, 20.0) == -5000.0
    assert combined_db(-5000.0, -5000.0) == pytest.approx(-5003.0103)


@given(st.floats(0.0, 300.0), st.floats(0.0, 3.0), st.floats(10.0, 300.0))
def test_more_noise_anywhere_is_more_noise(antenna_k: float, loss_db: float, receiver_k: float) -> None:
    total_k = system_noise_k(antenna_k, loss_db, receiver_k)
    assert system_noise_k(antenna_k + 1.0, loss_db, receiver_k) > total_k
    assert system_noise_k(antenna_k, loss_db, receiver_k + 1.0) > total_k
    if antenna_k < 289.0:
        assert system_noise_k(antenna_k, loss_db + 0.1, receiver_k) > total_k


def test_nan_in_nan_out_and_broadcasting() -> None:
    column, row = np.array([[1.0], [np.nan]]), np.array([1.0, 2.0, 3.0])
    for found in (
        free_space_loss_db(column, row),
        eirp_dbw(column, 0.0, 0.0, row),
        sky_noise_k(column, row),
        system_noise_k(column, 0.1, row),
        gt_dbk(row, 0.0, column),
        cn0_dbhz(column, row, 0.0),
        combined_db(column, row),
        esno_db(row, column),
    ):
        assert found.shape == (2, 3)
        assert np.all(np.isfinite(found[0])) and np.all(np.isnan(found[1]))
    assert np.isnan(decibels(-1.0)) and np.isnan(decibels(0.0))
