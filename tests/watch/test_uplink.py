"""What the uplink tells of a loss, against the laws from which it is inverted."""

from dataclasses import replace
from math import isnan, log10, nan, sin

import pytest

from agent.link_plan import LinkPlan
from agent.plan.antenna import pointing_loss_db
from agent.records import Signal
from agent.watch.causes.channels import Measured, uplink_likelihoods
from agent.watch.uplink import uplink_loss
from tests.watch.sample_day import at, events_of, every, plan

SYSTEM_K = 120.0


def quiet_plan() -> LinkPlan:
    """A Ku-band terminal without interference; its rain takes 1.6 times as much on the uplink."""
    base = plan()
    down = replace(base.downlink, system_noise_k=SYSTEM_K, interference_cn_db=None)
    return replace(base, downlink=down, uplink=replace(base.uplink, rain_at_rate_db=1.6 * 6.0))


def behind_rain_db(attenuation_db: float) -> float:
    """Fall of C/N behind rain that radiates at 275 K: ITU-R P.618-14 section 3 (from memory)."""
    added_k = 275.0 * (1.0 - 10.0 ** (-attenuation_db / 10.0))
    return attenuation_db + 10.0 * log10((SYSTEM_K + added_k) / SYSTEM_K)


@pytest.mark.parametrize("error_deg", [0.2, 0.5, 0.9])
def test_a_turned_dish_costs_both_directions_by_the_parabola(error_deg: float) -> None:
    """12 (error / beamwidth)^2 dB with 1.8 degrees on the downlink and 1.5 on the uplink (handbook rule)."""
    found = uplink_loss(quiet_plan(), float(pointing_loss_db(error_deg, 1.8)))
    assert found.mispoint_db == pytest.approx(float(pointing_loss_db(error_deg, 1.5)))


@pytest.mark.parametrize("attenuation_db", [0.1, 1.0, 5.0, 15.0])
def test_what_stands_in_the_path_costs_less_than_the_downlink_shows(attenuation_db: float) -> None:
    found = uplink_loss(quiet_plan(), behind_rain_db(attenuation_db))
    assert found.least_in_path_db == pytest.approx(attenuation_db, abs=1e-3)
    assert found.most_in_path_db >= 1.6 * attenuation_db - 1e-3


def test_interference_hides_a_part_of_the_downlinks_loss() -> None:
    """Noise powers add: of 14 dB over all noise and 17 dB over interference, half the noise stays."""
    base = quiet_plan()
    shared = replace(base, downlink=replace(base.downlink, interference_cn_db=14.0 + 10.0 * log10(2.0)))
    whole_db = 10.0 * log10(0.5 * 10.0**0.3 + 0.5)  # 3 dB less carrier over the thermal half
    assert uplink_loss(shared, whole_db).mispoint_db == pytest.approx(3.0 * (1.8 / 1.5) ** 2)


def test_what_is_not_known_stays_unknown() -> None:
    found = uplink_loss(plan(), nan)
    assert all(isnan(one) for one in (found.mispoint_db, found.least_in_path_db))


def scene(down_db: float, up_db: float, wavers: float = 0.0) -> list[Signal]:
    """A loss of both directions that takes ten minutes to come and stays; nobody reports the weather.

    `wavers` is the share by which it comes and goes within minutes.
    """
    return [
        Signal(
            unix_s=at(minute),
            esno_db=14.0 - down_db * came(minute) * (1.0 + wavers * sin(1.3 * minute)) + wobble(minute),
            uplink_esno_db=12.0 - up_db * came(minute) * (1.0 + wavers * sin(1.3 * minute)) - wobble(minute),
        )
        for minute in every(10.0, 0.0, 100.0)
    ]


def came(minute: float) -> float:
    return min(1.0, max(0.0, (minute - 60.0) / 10.0))


def wobble(minute: float) -> float:
    return 0.1 if round(minute * 6.0) % 3 else -0.1


def test_the_uplink_tells_a_turned_dish_from_rain_that_nobody_reports() -> None:
    down_db = behind_rain_db(1.2)
    turned = events_of(scene(down_db, down_db * (1.8 / 1.5) ** 2), quiet_plan())
    behind_rain = events_of(scene(down_db, 1.6 * 1.2, wavers=0.3), quiet_plan())
    assert "repeak" in {event.rule for event in turned}
    assert {event.rule for event in behind_rain} >= {"wait-rain"}
    assert "repeak" not in {event.rule for event in behind_rain}


def five_steps(up_db: float) -> list[Signal]:
    """A display that falls by one of its five steps, beside an uplink that loses so much with it."""
    return [
        Signal(
            unix_s=at(minute),
            quality_percent=60.0 if minute >= 60.0 else 80.0,
            uplink_esno_db=12.0 - (up_db if minute >= 60.0 else 0.0) + wobble(minute),
        )
        for minute in every(30.0, 0.0, 100.0)
    ]


def test_a_display_on_the_edge_of_two_steps_is_no_loss_when_the_uplink_has_lost_nothing() -> None:
    """Whatever takes half of a 3 dB step by its noise and attenuation attenuates the uplink too."""
    assert {event.rule for event in events_of(five_steps(0.0), quiet_plan())} <= {"shade", "no-data"}
    assert {event.rule for event in events_of(five_steps(1.5), quiet_plan())} & {"repeak", "look-at-dish"}


DOWN = Measured(2.1, 0.1)  # behind a dish that costs the uplink 3.0 dB, or rain that costs it 0.9 dB and more


def favoured(up_db: float, power_told: bool) -> float:
    """How much likelier a turned dish makes this loss of the uplink than rain does."""
    found = uplink_likelihoods(Measured(up_db, 0.1), DOWN, power_told, quiet_plan())
    assert found is not None
    return found[0]["mispoint"] / found[0]["rain"]


def test_an_uplink_that_lost_nothing_is_no_witness_where_the_network_may_have_made_up_for_it() -> None:
    """Neither a turned dish nor anything in the path leaves the uplink as it was (link budget arithmetic)."""
    assert 0.5 < favoured(0.0, power_told=False) < 2.0


def test_what_was_lost_in_between_still_speaks_against_a_turned_dish() -> None:
    assert favoured(1.4, power_told=True) < 0.2
    assert favoured(1.4, power_told=False) < 0.5
    assert favoured(3.0, power_told=False) > 5.0


def test_an_uplink_that_lost_nothing_speaks_for_what_the_downlink_alone_feels() -> None:
    """A power step of the satellite and interference on the downlink leave the uplink as it was."""
    found = uplink_likelihoods(Measured(0.05, 0.1), DOWN, True, quiet_plan())
    assert found is not None
    assert found[0]["satellite"] == found[0]["interference"] > 20.0 * found[0]["mispoint"]


def controlled(lost_db: float) -> list[Signal]:
    """The dish turns slowly for 40 minutes; the network has the terminal send more, in steps of half a dB.

    Closed-loop uplink power control: ITU-R S.1061 (from memory).
    """
    squared = (1.8 / 1.5) ** 2
    readings = []
    for minute in every(10.0, 0.0, 130.0):
        down_db = lost_db * min(1.0, max(0.0, (minute - 60.0) / 40.0))
        more_db = 0.5 * round(down_db * squared / 0.5)
        readings.append(
            Signal(
                unix_s=at(minute),
                esno_db=round(14.0 - down_db + wobble(minute), 2),
                uplink_esno_db=round(12.0 - down_db * squared + more_db - wobble(minute), 2),
                tx_power_dbm=36.0 + more_db,
            )
        )
    return readings


def test_what_a_terminal_sends_more_counts_as_lost_on_the_uplink() -> None:
    events = events_of(controlled(2.5), quiet_plan())
    assert [event.unix_s for event in events if event.rule == "repeak"][0] < at(100.0)
    assert "wait-rain" not in {event.rule for event in events}
