"""MODCODs against the tables of ETSI EN 302 307, and what is chosen from them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plan.modcod import (
    BY_STANDARD,
    DVB_S2,
    DVB_S2X_ADDITIONS,
    Modcod,
    Standard,
    ladder,
    modcod_at,
    modcod_for_rate,
    next_lower,
    rate_mbps,
    rates_mbps,
)
from tests.reference import cases

STANDARDS = st.sampled_from(sorted(BY_STANDARD))
ESNO_DB = st.floats(-5.0, 25.0)


@pytest.mark.parametrize(
    ("file", "table"), [("dvb_s2_table13", DVB_S2), ("dvb_s2x_table20a", DVB_S2X_ADDITIONS)]
)
def test_reference_tables(file: str, table: tuple[Modcod, ...]) -> None:
    # EN 302 307-1 table 13 and 302 307-2 table 20a, copied: exact.
    published = [
        (
            f"{case['inputs']['modulation']} {case['inputs']['code_rate']}",
            case["expected"]["ideal_EsN0_dB"],
            case["expected"]["spectral_efficiency_bit_per_symbol"],
        )
        for case in cases(file)
    ]
    assert [(one.name, one.esno_db, one.efficiency) for one in table] == published


def test_reference_efficiencies_from_the_frame() -> None:
    # EN 302 307-1 section 5: (K_bch - 80) bits in 90 (64800 / bits / 90 + 1) symbols; K_bch from table 5a.
    bits = {"QPSK": 2, "8PSK": 3, "16APSK": 4, "32APSK": 5}
    k_bch = {
        "1/4": 16008, "1/3": 21408, "2/5": 25728, "1/2": 32208, "3/5": 38688, "2/3": 43040, "3/4": 48408,
        "4/5": 51648, "5/6": 53840, "8/9": 57472, "9/10": 58192,
    }  # fmt: skip
    for one in DVB_S2:
        modulation, rate = one.name.split(" ")
        symbols = 90.0 * (64800.0 / bits[modulation] / 90.0 + 1.0)
        assert one.efficiency == pytest.approx((k_bch[rate] - 80.0) / symbols, abs=1e-6)


def test_chosen_modcod_at_the_edges_of_the_table() -> None:
    # Table 13: QPSK 1/4 needs -2.35 dB, QPSK 3/4 4.03 dB; 16APSK 3/4 carries more at less than 8PSK 8/9.
    assert modcod_at(-2.36, ladder("DVB-S2", 0.0)) is None
    lowest, three_quarters = modcod_at(-2.35, ladder("DVB-S2", 0.0)), modcod_at(5.03, ladder("DVB-S2", 1.0))
    assert lowest is not None and lowest.name == "QPSK 1/4"
    assert three_quarters is not None and three_quarters.name == "QPSK 3/4"
    over = modcod_at(10.7, ladder("DVB-S2", 0.0))
    assert over is not None and over.name == "16APSK 3/4"
    assert modcod_at(float("nan"), ladder("DVB-S2", 0.0)) is None
    # DVB-S2X closes at QPSK 2/9, -2.85 dB (table 20a).
    best = modcod_at(-2.8, ladder("DVB-S2X", 0.0))
    assert best is not None and best.name == "QPSK 2/9"


def test_lower_modcods_and_rates() -> None:
    three_quarters = next(one for one in DVB_S2 if one.name == "QPSK 3/4")
    lower = next_lower(three_quarters, ladder("DVB-S2"))
    assert lower is not None and lower.name == "QPSK 2/3"
    assert next_lower(ladder("DVB-S2")[0], ladder("DVB-S2")) is None
    # 27.5 Msps at QPSK 3/4: 1.487473 bits a symbol by table 13 make 40.9 Mbit/s.
    assert rate_mbps(three_quarters, 27.5) == pytest.approx(40.9055, abs=1e-4)
    assert rate_mbps(None, 27.5) == 0.0
    assert modcod_for_rate(4.0, 1.5, ladder("DVB-S2")) == next(
        one for one in DVB_S2 if one.name == "16APSK 3/4"
    )
    assert modcod_for_rate(7.0, 1.5, ladder("DVB-S2")) is None


@given(ESNO_DB, st.floats(0.0, 5.0), STANDARDS, st.floats(0.0, 3.0))
def test_more_esno_never_carries_less(
    esno_db: float, more_db: float, standard: Standard, margin_db: float
) -> None:
    low, high = rates_mbps(np.array([esno_db, esno_db + more_db]), ladder(standard, margin_db), 5.0)
    assert high >= low
    assert low == rate_mbps(modcod_at(esno_db, ladder(standard, margin_db)), 5.0)


@given(ESNO_DB, STANDARDS)
def test_no_other_modcod_that_closes_carries_more(esno_db: float, standard: Standard) -> None:
    chosen = modcod_at(esno_db, ladder(standard, 0.0))
    best = max((one.efficiency for one in BY_STANDARD[standard] if one.esno_db <= esno_db), default=0.0)
    assert (chosen.efficiency if chosen else 0.0) == best


@given(ESNO_DB)
def test_dvb_s2x_is_never_worse(esno_db: float) -> None:
    s2, s2x = (rates_mbps(esno_db, ladder(standard), 1.0) for standard in ("DVB-S2", "DVB-S2X"))
    assert s2x >= s2


def test_rates_keep_shape_and_nan() -> None:
    rates = rates_mbps(np.array([[np.nan, -30.0], [4.03, 40.0]]), ladder("DVB-S2"), 2.0)
    assert np.isnan(rates[0, 0]) and rates[0, 1] == 0.0
    assert rates[1, 0] == pytest.approx(2.974946) and rates[1, 1] == pytest.approx(8.906054)
