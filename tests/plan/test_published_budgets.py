"""Published budgets over both hops, line by line, and the same carriers through the plan's own chain.

tests/reference/end_to_end_budgets.json names each source. A published line is rounded to 0.1 dB, and a sum of
such lines can be off by as much: that is the tolerance.
"""

import numpy as np
import pytest

from agent.plan import equations
from agent.plan.companions import Companion
from agent.plan.links import Link, clear_state
from agent.plan.propagation import SlantPath
from tests.reference import Case, cases

TABLES = cases("end_to_end_budgets", having="overall_cni_db")
LINE = 0.1 + 1e-9


def one_hop(name: str, case: Case, companions: tuple[Companion, ...]) -> float:
    """C/(N+I) (dB) of one hop of the table by the functions that compute the plan; its bandwidth as R_s."""
    told = case["inputs"]
    up = name == "uplink"
    eirp_dbw = equations.eirp_dbw(
        10.0 ** (told["uplink_power_dbw"] / 10.0), 0.0, 0.0, told["transmit_gain_dbi"]
    )
    link = Link(
        name="uplink",
        path=SlantPath(
            latitude_deg=0.0, longitude_deg=0.0, height_m=0.0, elevation_deg=45.0, frequency_ghz=6.0,
            tilt_deg=45.0, diameter_m=4.5, efficiency=0.6,
        ),
        antenna_gain_dbi=told["transmit_gain_dbi"],
        beamwidth_deg=1.0,
        eirp_dbw=float(eirp_dbw) if up else told["satellite_eirp_dbw"],
        free_space_loss_db=told[f"{name}_fsl_db"],
        pointing_loss_db=0.0,
        polarisation_loss_db=0.0,
        symbol_rate_msps=told["bandwidth_khz"] / 1e3,
        roll_off=0.0,
        companions=companions,
        rungs=(),
        power_control_db=0.0,
        receive_feed_loss_db=0.0,
        receiver_noise_k=None,
        satellite_gt_dbk=told["satellite_gt_dbk"]
        if up
        else float(equations.gt_dbk(told["receive_gain_dbi"], 0.0, told["noise_k"])),
        radiating_k=275.0,
    )  # fmt: skip
    return float(clear_state(link, 0.0).esno_db)


def interference(case: Case, hop: str) -> Companion:
    return Companion(name="C/I", symbol="C/I", cn_db=case["inputs"][f"{hop}_ci_db"], source="table")


@pytest.mark.parametrize("case", TABLES, ids=lambda case: case["source"][-27:])
def test_every_line_of_both_hops(case: Case) -> None:
    told, expected = case["inputs"], case["expected"]
    watts = 10.0 ** (told["uplink_power_dbw"] / 10.0)
    lines = {
        "eirp_dbw": equations.eirp_dbw(watts, 0.0, 0.0, told["transmit_gain_dbi"]),
        "gt_dbk": equations.gt_dbk(told["receive_gain_dbi"], 0.0, told["noise_k"]),
        "uplink_cn_db": one_hop("uplink", case, ()),
        "downlink_cn_db": one_hop("downlink", case, ()),
    }
    up = one_hop("uplink", case, (interference(case, "uplink"),))
    down = one_hop("downlink", case, (interference(case, "downlink"),))
    # The other hop travels with the carrier, as the hub's does in the plan.
    hub = Companion(name="other hop", symbol="Es/N0,hub", cn_db=down, source="table")
    whole = one_hop("uplink", case, (interference(case, "uplink"), hub))
    lines |= {"uplink_cni_db": up, "downlink_cni_db": down, "overall_cni_db": whole}
    lines["margin_db"] = whole - told["required_db"]
    assert set(lines) == set(expected)
    for name, value in lines.items():
        assert value == pytest.approx(expected[name], abs=LINE), name


@pytest.mark.parametrize("case", cases("end_to_end_budgets", having="flux_dbw_m2"))
def test_a_budget_from_flux_and_back_off(case: Case) -> None:
    told, expected = case["inputs"], case["expected"]
    # Flux times an isotropic aperture is what an isotropic antenna receives: EIRP less free-space loss.
    received_dbw = told["flux_dbw_m2"] + told["isotropic_area_dbm2"]
    up = equations.cn0_dbhz(received_dbw, told["input_back_off_db"], told["satellite_gt_dbk"])
    lost_db = told["output_back_off_db"] + told["downlink_fsl_db"]
    down = equations.cn0_dbhz(told["satellite_eirp_dbw"], lost_db, told["receive_gt_dbk"])
    assert np.round([up, down, equations.combined_db(up, down)], 1) == pytest.approx(
        [expected["uplink_cn0_dbhz"], expected["downlink_cn0_dbhz"], expected["overall_cn0_dbhz"]], abs=LINE
    )
