"""Features against what was heard: which figure goes where, and what the tests of the rate come to."""

from math import isnan, nan

import pytest

from agent.records import Power, Signal, Temperature, Throughput
from agent.watch.feature_stage import FeatureStage, View, _heat_loss_db
from agent.watch.features import Features
from agent.watch.heat_watch import HeatView, UnitView
from agent.watch.input_watch import MOST_INPUTS, Inputs
from agent.watch.rate_tests import Figure
from agent.watch.signal_watch import SignalView
from tests.plan.sample_job import job
from tests.watch.sample_day import at, filled, plan


def seen(stage: FeatureStage, minute: float) -> View:
    return stage.close(at(minute), plan(), job())


def rated(troubled: dict[str, float]) -> Features:
    """The features after half an hour of good tests and five minutes of these."""
    stage = FeatureStage()
    good = {"down_mbps": 4.0, "up_mbps": 2.0, "rtt_ms": 600.0, "loss_percent": 0.0, "jitter_ms": 8.0}
    for minute in range(36):
        values = good | (troubled if minute >= 30 else {})
        stage.add(Throughput(unix_s=at(minute), method="active", **values))  # type: ignore[arg-type]
        view = seen(stage, minute + 0.5)
    return view.features


def test_a_queue_is_the_networks_and_loss_with_jitter_the_lans() -> None:
    """RFC 6349, section 3: a queue shows in the round trip; a bad local hop loses without one."""
    queue = rated({"down_mbps": 1.4, "up_mbps": 0.7, "rtt_ms": 1400.0})
    assert queue.network_confidence >= 0.6 > 0.2 >= queue.lan_confidence
    assert queue.rtt_ratio == pytest.approx(1400.0 / 600.0, rel=0.05)
    loss = rated({"down_mbps": 1.4, "up_mbps": 0.7, "loss_percent": 9.0, "jitter_ms": 60.0})
    assert loss.lan_confidence >= 0.6 > 0.4 >= loss.network_confidence
    assert loss.rtt_ratio == 1.0


def test_a_battery_tells_its_time_and_its_charge() -> None:
    stage = FeatureStage()
    stage.add(Power(unix_s=at(0.0), source="battery", runtime_s=1234.0, battery_percent=56.0))
    row = seen(stage, 1.0).features
    assert (row.on_battery, row.runtime_s, row.battery_percent) == (1.0, 1234.0, 56.0)


def figure(good_is_high: bool, values: list[float]) -> Figure:
    one = Figure(good_is_high=good_is_high)
    for minute, value in enumerate(values):
        one.add(60.0 * minute, value)
        one.close(60.0 * minute + 30.0, trouble=False)
    return one


def test_the_better_of_two_recent_tests_counts() -> None:
    assert figure(True, [4.0, 3.0, 1.0]).recent() == 3.0
    assert figure(True, [4.0, 1.0, 3.0]).recent() == 3.0
    assert figure(False, [600.0, 900.0, 1400.0]).recent() == 900.0
    assert figure(False, [600.0, 1400.0, 900.0]).recent() == 900.0
    assert isnan(figure(True, [4.0]).recent())


def test_one_bad_uplink_test_does_not_take_the_headroom() -> None:
    """The stream has to fit under all but the weakest: the second lowest, of many the tenth in a hundred."""
    assert figure(True, [2.0, 0.5, 3.0, 2.5]).low() == 2.0
    assert figure(True, [float(value) for value in range(30)]).low() == 3.0
    assert isnan(figure(True, [2.0, 0.5]).low())


@pytest.mark.parametrize(
    ("deficit_db", "expected_db"), [(0.0, 1.2), (0.3, 1.2 - 0.3 * (1.8 / 1.5) ** 2), (0.6, 0.0)]
)
def test_what_a_slightly_turned_dish_takes_from_the_uplink_is_no_loss_by_heat(
    deficit_db: float, expected_db: float
) -> None:
    """The loss by pointing is 12 (error / beamwidth)^2: it grows with the square of the beamwidths' ratio."""
    hot = filled(UnitView, limit_degc=55.0, temperature_degc=50.0)
    signal = filled(SignalView, deficit_db=deficit_db, uplink_loss_db=1.2, transmit_loss_db=nan)
    found = _heat_loss_db(signal, HeatView((hot, hot), None, nan), plan())
    assert found == pytest.approx(expected_db)


def test_a_device_that_makes_up_names_pushes_out_no_input_that_comes_regularly() -> None:
    inputs = Inputs()
    for second in range(10):
        inputs.hear("signal", Signal(unix_s=float(second), esno_db=9.0))
    for second in range(10, 10 * MOST_INPUTS):
        place = f"place-{second}"
        reading = Temperature(unix_s=float(second), where=place, temperature_degc=20.0)
        inputs.hear(f"temperature {place}", reading)
    assert len(inputs.last_seen_unix_s()) == MOST_INPUTS
    assert inputs.silences(1000.0)[0] == (99.1, 991.0, "signal")
