"""Both hops, net rates, power control, levels, the worst month and what a sun pass leaves."""

from dataclasses import replace
from datetime import UTC
from math import log10

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.job import Hub, Job
from agent.link_plan import Budget, SunPass
from agent.plan import equations
from agent.plan.budget import budget, directions
from agent.plan.day_ahead import SiteClock, surviving
from agent.plan.links import View
from agent.plan.modcod import BY_STANDARD, RCS2_SYMBOLS
from agent.plan.sun_effect import ACTIVE_SUN_SFU, sun_pass_effect
from agent.plan.sun_noise import QUIET_SUN_SFU, sun_brightness_k
from agent.plan.waveform import downlink_rungs, encapsulation_share, pilot_share, uplink_rungs
from agent.plan.worst_month import annual_percent, worst_month_percent
from agent.planning.compute import compute_plan
from tests.plan.sample_job import job as sample_job
from tests.reference import cases

VIEW = View(elevation_deg=44.0, slant_range_km=37_473.1, feed_rotation_deg=-18.9, radiating_k=273.3)
HUB = Hub(
    uplink_eirp_dbw=70.0,
    uplink_frequency_ghz=14.2,
    satellite_gt_dbk=5.0,
    satellite_eirp_dbw=20.0,
    downlink_frequency_ghz=11.7,
    gt_dbk=34.0,
)


def budgets(job: Job) -> tuple[Budget, Budget]:
    """Downlink and uplink."""
    down, up = directions(job, VIEW)
    return budget(job, down), budget(job, up)


def changed(**sections: dict[str, object]) -> Job:
    """The sample job with some keys changed."""
    base = sample_job()
    return replace(base, **{name: replace(getattr(base, name), **keys) for name, keys in sections.items()})  # type: ignore[arg-type]


def test_reference_three_ratios_together() -> None:
    # Roddy, Satellite Communications, example 12.20: 23, 20 and 24 dB of uplink, downlink and intermodulation
    # together are 17.2 dB; example 12.18: 100 and 87 dBHz are 86.79.
    (case,) = (one for one in cases("antenna_link_budget") if "intermod" in one["inputs"])
    assert float(equations.combined_db(*case["inputs"].values())) == pytest.approx(
        case["expected"]["total_dB"], abs=0.02
    )
    assert float(equations.combined_db(100.0, 87.0)) == pytest.approx(86.79, abs=0.01)


def test_reference_both_hops_by_hand() -> None:
    # The way up of the hub: 70 dBW - 206.97 dB (20 log(4 pi 37,473.1 km / lambda) at 14.2 GHz) - 1 dB
    # + 5 dB/K + 228.6 dBW/K/Hz = 95.63 dBHz, 28.64 dB in 5 Msps; down to the hub: 20 - 205.285 - 1 + 34
    # + 228.6 = 76.31 dBHz, 14.55 dB in 1.5 Msps.
    alone = budgets(sample_job())
    both = budgets(replace(sample_job(), hub=HUB))
    for one, whole, hop_db in zip(alone, both, (28.64, 14.55), strict=True):
        assert one.hub_hop_esno_db is None
        assert whole.hub_hop_esno_db == pytest.approx(hop_db, abs=0.01)
        together = -10.0 * log10(10.0 ** (-one.esno_clear_db / 10.0) + 10.0 ** (-hop_db / 10.0))
        assert whole.esno_clear_db == pytest.approx(together, abs=0.01)
        assert whole.cn0_dbhz == one.cn0_dbhz
    # Uplink rain weakens what the satellite sends on by as much: the sum falls dB for dB. On the way down the
    # hub's noise fades with the carrier and only the terminal's share grows.
    down, up = both
    assert up.esno_clear_db - up.esno_faded_db == pytest.approx(up.fade_db - up.gas_clear_db, abs=1e-9)
    assert down.esno_clear_db - down.esno_faded_db < alone[0].esno_clear_db - alone[0].esno_faded_db


def test_place_of_the_hub_gives_its_range() -> None:
    # The sub-satellite point is 35,786 km away, 0.40 dB less than from 37,473 km.
    near = replace(sample_job(), hub=replace(HUB, latitude_deg=0.0, longitude_deg=8.0))
    taken = budgets(replace(sample_job(), hub=HUB))[0].hub_hop_esno_db
    placed = budgets(near)[0].hub_hop_esno_db
    assert placed is not None and taken is not None
    assert placed - taken == pytest.approx(20.0 * log10(37_473.1 / 35_786.0), abs=0.01)


def test_intermodulation_joins_the_interference() -> None:
    with_all = changed(downlink={"intermodulation_cn_db": 18.0, "interference_cn_db": 20.0})
    clean, found = budgets(sample_job())[0], budgets(with_all)[0]
    together = sum(10.0 ** (-one / 10.0) for one in (clean.esno_clear_db, 18.0, 20.0))
    assert found.esno_clear_db == pytest.approx(-10.0 * log10(together), abs=1e-9)
    assert (found.interference_cn_db, found.intermodulation_cn_db) == (20.0, 18.0)


def test_the_same_error_costs_the_uplink_more() -> None:
    # 12 (theta / theta_3dB)^2: the beam narrows with the frequency, so that 0.3 dB at 11.45 GHz are
    # 0.3 (14.05 / 11.45)^2 = 0.452 dB at 14.05 GHz.
    down, up = budgets(sample_job())
    assert down.pointing_loss_db == pytest.approx(0.3)
    assert up.pointing_loss_db == pytest.approx(0.3 * (14.05 / 11.45) ** 2)


def test_reference_pilots_cost_up_to_two_and_a_half_percent() -> None:
    # EN 302 307-1, section 5.5.3 and table 11: 360, 240, 180 and 144 slots of 90 symbols, 22, 14, 11 and 8
    # blocks of 36 symbols between them.
    for modulation, slots, blocks in (
        ("QPSK", 360, 22),
        ("8PSK", 240, 14),
        ("16APSK", 180, 11),
        ("32APSK", 144, 8),
    ):
        plain = 90.0 * (slots + 1)
        assert pilot_share(f"{modulation} 3/4") == pytest.approx(plain / (plain + 36.0 * blocks))
    with_pilots = changed(modem={"pilots": True})
    assert budgets(with_pilots)[1].rate_clear_mbps == pytest.approx(
        budgets(sample_job())[1].rate_clear_mbps * pilot_share("16APSK 4/5")
    )


def test_encapsulation_takes_a_share() -> None:
    # A packet of 1,356 bytes in GSE with 10 bytes, or in MPE with 16 and in 184 of 188 bytes.
    assert encapsulation_share("none") == 1.0
    assert encapsulation_share("GSE") == pytest.approx(1356.0 / 1366.0)
    assert encapsulation_share("MPE") == pytest.approx(1356.0 / 1372.0 * 184.0 / 188.0)
    net, coded = (
        budgets(changed(modem={"encapsulation": way}))[0].rate_clear_mbps for way in ("MPE", "none")
    )
    assert net == pytest.approx(coded * encapsulation_share("MPE"))


@pytest.mark.parametrize(
    "case", cases("dvb_rcs2_waveforms"), ids=lambda case: str(case["inputs"]["waveform_id"])
)
def test_reference_dvb_rcs2_waveforms(case: dict[str, dict[str, object]]) -> None:
    # ETSI EN 301 545-2, annex A (table A-1), as a public network simulator lists them.
    inputs, expected = case["inputs"], case["expected"]
    standard = "DVB-RCS2" if inputs["burst_symbols"] == RCS2_SYMBOLS[1] else "DVB-RCS2 short bursts"
    found = next(
        one for one in BY_STANDARD[standard] if one.name == f"{inputs['modulation']} {inputs['code_rate']}"
    )  # type: ignore[index]
    assert found.efficiency == pytest.approx(expected["net_bits_per_symbol"], abs=1e-4)


def test_return_by_bursts_and_highest_modcod() -> None:
    bursts = changed(uplink={"standard": "DVB-RCS2"}, modem={"pilots": True})
    # Pilots are within the bursts already; 8PSK 5/6 needs 9.35 + 1.5 + 1 dB, 8PSK 3/4 7.91 + 2.5.
    assert [one.name for one in uplink_rungs(bursts)][-1] == "16QAM 5/6"
    up = budgets(bursts)[1]
    assert up.modcod_clear == "8PSK 5/6" and up.rate_clear_mbps == pytest.approx(444 * 8 / 1616 * 1.5)
    capped = changed(uplink={"highest_modcod": "8PSK 3/4"}, downlink={"highest_modcod": "QPSK 3/4"})
    assert [one.name for one in downlink_rungs(capped)][-1] == "QPSK 3/4"
    down, up = budgets(capped)
    assert (down.modcod_clear, up.modcod_clear) == ("QPSK 3/4", "8PSK 3/4")
    assert down.limited_by == "bandwidth" and budgets(sample_job())[1].limited_by == "power"


def test_power_control_takes_back_what_the_back_off_has() -> None:
    plain = changed(transmitter={"output_back_off_db": 3.0}, service={"availability_percent": 99.99})
    fixed = budgets(plain)[1]
    assert fixed.fade_db - fixed.gas_clear_db > 3.0
    for wanted_db, given_db in ((2.0, 2.0), (6.0, 3.0)):
        raised = budgets(replace(plain, uplink=replace(plain.uplink, power_control_db=wanted_db)))[1]
        assert raised.esno_clear_db == fixed.esno_clear_db
        assert raised.esno_faded_db - fixed.esno_faded_db == pytest.approx(given_db)
    # In a small fade no more than the fade.
    mild = budgets(changed(uplink={"power_control_db": 1.0}, service={"availability_percent": 90.0}))[1]
    assert (
        mild.esno_faded_db == pytest.approx(mild.esno_clear_db, abs=0.35)
        and mild.esno_faded_db <= mild.esno_clear_db
    )


def test_lines_with_power_control_add_up() -> None:
    """Regression: what the transmitter was raised by stood in no line."""
    job = changed(transmitter={"output_back_off_db": 3.0}, uplink={"power_control_db": 2.0})
    lines = {one.symbol: one.value for one in compute_plan(job).items if one.part == "uplink"}
    faded = lines["C/N0"] - lines["A_G50"] + lines["A_T"] + lines["UPC"]
    assert lines["C/N0,p"] == pytest.approx(faded)
    assert 0.0 < lines["UPC"] <= 2.0


def test_level_at_the_modem_by_hand() -> None:
    # 50 dBW - 205.10 dB of path - 0.312 of pointing and feed - gas + 39.33 dBi - 0.2 + 55 - 8 dB + 30.
    assert budgets(sample_job())[0].receive_level_dbm is None
    down, up = budgets(changed(receiver={"gain_db": 55.0, "cable_loss_db": 8.0}))
    assert down.receive_level_dbm == pytest.approx(
        50.0 - 205.10 - 0.312 - down.gas_clear_db + 39.331 - 0.2 + 55.0 - 8.0 + 30.0, abs=0.02
    )
    assert up.receive_level_dbm is None


def test_ratios_of_the_whole() -> None:
    _, up = budgets(sample_job())
    # Es/N0 of 16APSK 4/5 (3.165623 bits a symbol, EN 302 307-1 table 13), roll-off 0.2.
    assert up.modcod_clear == "16APSK 4/5"
    assert up.eb_n0_clear_db == pytest.approx(up.esno_clear_db - 10.0 * log10(3.165623))
    assert up.cn_occupied_db == pytest.approx(up.esno_clear_db - 10.0 * log10(1.2))
    assert up.largest_symbol_rate_msps == pytest.approx(1.5 * 10.0 ** (up.margin_faded_db / 10.0))


def test_reference_worst_month() -> None:
    # ITU-R P.841 for global planning: p = 0.30 p_w^1.15 (from memory); 0.3 % of the worst month is 0.075 %.
    assert 100.0 - annual_percent(99.0) == pytest.approx(0.30, abs=0.002)
    assert 100.0 - annual_percent(99.7) == pytest.approx(0.30 * 0.3**1.15, rel=0.01)
    assert worst_month_percent(99.5) == pytest.approx(100.0 - 2.85 * 0.5**0.87)


@given(st.floats(90.0, 99.999))
def test_property_the_worst_month_is_worse_and_has_an_inverse(availability_percent: float) -> None:
    worst = worst_month_percent(availability_percent)
    assert worst < availability_percent
    assert 100.0 - annual_percent(worst) == pytest.approx(100.0 - availability_percent, rel=1e-6)
    assert (100.0 - worst) / (100.0 - availability_percent) <= 12.0 + 1e-9


PASS = SunPass(start_unix_s=0.0, peak_unix_s=600.0, end_unix_s=1200.0, depth_db=7.0)


def test_an_active_sun_is_brighter_the_more_the_lower_the_frequency() -> None:
    # The flux at 10.7 cm (2.8 GHz) is the sun's there by definition: 250 against 70 is 3.57 times as much.
    # At 11 GHz it is 40 % more, + 1.3 dB of depth for a dish that sees only the sun.
    assert sun_brightness_k(2.8, 250.0) / sun_brightness_k(2.8) == pytest.approx(250.0 / 70.0)
    assert sun_brightness_k(11.0, 250.0) / sun_brightness_k(11.0) == pytest.approx(1.4, abs=0.01)
    assert np.all(np.diff(sun_brightness_k(np.array([2.0, 4.0, 12.0, 30.0]), 200.0)) < 0.0)


def test_a_pass_that_the_margin_bears_is_said_to_be_nothing() -> None:
    job = changed(downlink={"eirp_dbw": 46.0})
    down, _ = directions(job, VIEW)
    effect = sun_pass_effect(job, down, PASS)
    assert effect.solar_flux_sfu == ACTIVE_SUN_SFU and effect.depth_db > PASS.depth_db
    assert effect.short_from_unix_s is None and effect.modcod is not None
    margin_db = budget(job, down).margin_db
    assert margin_db > effect.depth_db
    words = surviving(effect, margin_db, CLOCK)
    assert words.startswith("Nothing happens to the booked rate") and effect.modcod in words


CLOCK = SiteClock.of(0.0, 86_400.0, UTC)


def test_a_pass_that_breaks_the_rate_says_when_and_whether_lock_holds() -> None:
    quiet = changed(downlink={"eirp_dbw": 34.0}, day={"solar_flux_sfu": QUIET_SUN_SFU})
    down, _ = directions(quiet, VIEW)
    effect = sun_pass_effect(quiet, down, PASS)
    assert effect.depth_db == pytest.approx(7.0)
    assert effect.esno_db == pytest.approx(budget(quiet, down).esno_clear_db - 7.0)
    assert effect.short_from_unix_s is not None and effect.short_to_unix_s is not None
    # The bell is even: the same time before and after the peak, and the loss there is the margin.
    assert effect.short_to_unix_s - 600.0 == pytest.approx(600.0 - effect.short_from_unix_s)
    assert 0.0 < effect.short_from_unix_s < 600.0
    assert effect.modcod is not None and effect.lost_from_unix_s is None
    assert "lock holds, at" in surviving(effect, 1.0, CLOCK)
    weak = replace(quiet, downlink=replace(quiet.downlink, eirp_dbw=30.0))
    down, _ = directions(weak, VIEW)
    effect = sun_pass_effect(weak, down, PASS)
    assert effect.modcod is None and effect.rate_mbps == 0.0
    assert effect.lost_from_unix_s is not None and effect.short_from_unix_s is not None
    assert effect.short_from_unix_s < effect.lost_from_unix_s < 600.0
    assert "lock is lost" in surviving(effect, 1.0, CLOCK)
