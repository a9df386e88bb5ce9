"""What the dish sends beside the satellite."""

from dataclasses import replace
from math import isnan, log10

import numpy as np
import pytest

from agent.plan.off_axis import MASKS, excess_db, limit_dbw, off_axis_findings, reference_gain_dbi
from tests.plan.sample_job import job as sample_job
from tests.reference import cases

KU = MASKS[1]


def test_reference_pattern() -> None:
    # ITU-R S.465-6, D/lambda of 50 or more: 32 - 25 log phi from 1 deg to 48, -10 dBi beyond. 24.47 dBi at 2
    # deg are also Roddy's, Satellite Communications, example 13.1.
    (case,) = (one for one in cases("antenna_link_budget") if "S.465" in one["source"])
    angles, gains = case["inputs"]["phi_deg"], case["expected"]["G_dBi"]
    found = reference_gain_dbi(np.array(angles), 3.7, 14.25)
    assert found == pytest.approx(np.array(gains), abs=0.02)


def test_small_dishes_are_defined_from_farther_out() -> None:
    # 0.98 m at 14.05 GHz are 45.9 wavelengths: from max(2, 114 * 45.9**-1.09 = 1.76) deg on.
    assert isnan(float(reference_gain_dbi(1.9, 0.98, 14.05)))
    assert float(reference_gain_dbi(2.0, 0.98, 14.05)) == pytest.approx(24.47, abs=0.01)
    assert float(reference_gain_dbi(-2.0, 0.98, 14.05)) == float(reference_gain_dbi(2.0, 0.98, 14.05))


def test_limit_at_14_ghz() -> None:
    # ITU-R S.524-9 (from memory): 39 - 25 log phi to 7 deg, 18 to 9.2, 42 - 25 log phi to 48,
    # 0 dBW in 40 kHz.
    found = limit_dbw(KU, np.array([2.0, 2.5, 7.0, 8.0, 10.0, 60.0]))
    assert isnan(found[0])
    assert found[1:].tolist() == pytest.approx([29.05, 17.87, 18.0, 17.0, 0.0], abs=0.01)


def test_excess_by_hand() -> None:
    # 8 W less 1.3 dB are 7.731 dBW, in 40 of 1500 kHz 15.74 dB less: -8.01 dBW. The error behind 0.3 dB is
    # 1.87 sqrt(0.3 / 12) = 0.296 deg; at 2.5 deg the gain is 32 - 25 log 2.204 = 23.42 dBi, which
    # makes 15.41 of 29.05 dBW.
    over_db, angle_deg = excess_db(sample_job(), KU)
    assert angle_deg == pytest.approx(2.5)
    assert over_db == pytest.approx(15.41 - 29.05, abs=0.02)
    assert off_axis_findings(sample_job()) == []
    # Another degree off: the pattern begins 2 deg off the axis, at 3.3 deg with 32 - 25 log 2.004 = 24.45
    # dBi, which makes 16.44 of 39 - 25 log 3.3 = 26.04 dBW.
    over_db, angle_deg = excess_db(sample_job(), KU, 1.0)
    assert angle_deg == pytest.approx(3.3)
    assert over_db == pytest.approx(16.44 - 26.04, abs=0.02)


def test_a_narrow_strong_carrier_is_a_finding() -> None:
    base = sample_job()
    # 13.64 dB in hand; a tenth of the symbol rate and four times the power take 16.02.
    strong = replace(
        base,
        uplink=replace(base.uplink, symbol_rate_msps=0.15),
        transmitter=replace(base.transmitter, power_w=32.0),
    )
    (found,) = off_axis_findings(strong)
    assert f"2.5° off, this carrier may be {10.0 * log10(40.0) - 13.64:.1f} dB over the limit" in found
    assert f"{excess_db(strong, KU, 1.0)[0]:.1f} dB where a base 1° out of level is not peaked out" in found
    assert "(ITU-R S.728, national ones) are not looked at" in found
    assert "operator's line-up decide" in found
    # A dish that is turned farther off sends more toward the neighbour.
    turned = replace(strong, antenna=replace(strong.antenna, pointing_loss_db=1.0))
    assert excess_db(turned, KU)[0] > excess_db(strong, KU)[0]
    # Where no limit is known nothing is said.
    assert off_axis_findings(replace(strong, uplink=replace(strong.uplink, frequency_ghz=8.1))) == []
