"""Short made-up stretches of a day, each with one thing that the watch has to get right.

The statements are the trade's own (common practice): do not touch the dish in rain or in a sun pass, re-peak
after a knock, shade a transmitter that heads for its limit, look at the LAN when only the LAN is bad.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from agent.link_plan import SunPass
from agent.plan.antenna import pointing_loss_db
from agent.records import AlertEvent, AnyReading, Note, NoteKind, Signal, Temperature, Throughput, Weather
from tests.watch.sample_day import (
    at,
    engine,
    events_of,
    every,
    in_order,
    plan,
    signal,
)


def raised(events: list[AlertEvent], rule: str) -> list[AlertEvent]:
    return [event for event in events if event.rule == rule and event.state == "raised"]


SHADE = Note(unix_s=at(-1.0), kind="shade-on")  # keeps the rule of thumb out of scenes about something else


def level(loss_db: object, minutes: list[float], seed: int = 3, noise_db: float = 0.12) -> Iterator[Signal]:
    """Signal of 14 dB less `loss_db(minute)`."""
    assert callable(loss_db)
    chance = random.Random(seed)
    for minute in minutes:
        yield Signal(
            unix_s=at(minute), esno_db=round(14.0 - loss_db(minute) + chance.gauss(0.0, noise_db), 1)
        )


KNOCKED = Note(unix_s=at(60.5), kind="moved")


@pytest.mark.parametrize(("spacing_s", "within_min"), [(1.0, 4.0), (10.0, 4.0), (60.0, 8.0), (300.0, 35.0)])
def test_a_noted_knock_asks_for_a_re_peak(spacing_s: float, within_min: float) -> None:
    readings = level(lambda minute: 1.6 if minute >= 60.0 else 0.0, every(spacing_s, 0.0, 150.0))
    found = raised(events_of(in_order([*readings, KNOCKED])), "repeak")
    assert len(found) == 1
    assert 60.0 < (found[0].unix_s - at(0.0)) / 60.0 <= 60.0 + within_min
    assert found[0].cause == "mispoint"


@pytest.mark.parametrize("spacing_s", [1.0, 10.0, 60.0])
def test_a_step_that_nothing_explains_is_looked_at_first(spacing_s: float) -> None:
    """A power step of the satellite or a neighbour that switches on looks alike on the downlink alone."""
    readings = level(lambda minute: 1.6 if minute >= 60.0 else 0.0, every(spacing_s, 0.0, 150.0))
    events = events_of(readings)
    found = raised(events, "look-at-dish")
    assert 60.0 < (found[0].unix_s - at(0.0)) / 60.0 <= 80.0
    assert raised(events, "repeak") == []
    assert any("the satellite or the hub sends less" in words for words in found[0].evidence)


def test_a_note_decides_what_was_to_be_looked_at() -> None:
    step = list(level(lambda minute: 1.6 if minute >= 60.0 else 0.0, every(5.0, 0.0, 100.0)))
    moved = Note(unix_s=at(80.0), kind="moved")
    knocked = events_of(in_order([*step, moved]))
    assert 80.0 < (raised(knocked, "repeak")[0].unix_s - at(0.0)) / 60.0 <= 84.0
    assert told(knocked, "look-at-dish")[-1][0] == "cleared"


@pytest.mark.parametrize("spacing_s", [1.0, 10.0])
def test_a_truck_in_the_beam_does_not_hide_the_gust_before_it(spacing_s: float) -> None:
    """The truck is named, the dish is left alone meanwhile, and re-peaked once it has gone."""

    def loss_db(minute: float) -> float:
        return (2.4 if minute >= 60.0 else 0.0) + (9.0 if 63.0 <= minute < 67.0 else 0.0)

    events = events_of(in_order([*level(loss_db, every(spacing_s, 0.0, 90.0)), KNOCKED]))
    assert [event.cause for event in raised(events, "blockage")] == ["blockage"]
    times = [(event.unix_s - at(0.0)) / 60.0 for event in raised(events, "repeak")]
    assert len(times) == 1
    assert 67.0 < times[0] < 80.0


def test_the_pointing_error_is_that_of_the_loss() -> None:
    """ITU-R and handbook parabola: loss = 12 (error / beamwidth)^2; checked forwards."""
    readings = level(lambda minute: 1.6 if minute >= 60.0 else 0.0, every(5.0, 0.0, 75.0))
    error_deg = raised(events_of(in_order([*readings, KNOCKED])), "repeak")[0].figures["pointing_error_deg"]
    assert float(pointing_loss_db(error_deg, 1.8)) == pytest.approx(1.6, abs=0.15)


def test_interference_hides_a_part_of_the_pointing_error() -> None:
    """Noise powers add: of 14 dB over all noise and 17 dB over interference, half the noise is thermal."""
    base = plan()
    shared = replace(base, downlink=replace(base.downlink, interference_cn_db=14.0 + 10.0 * math.log10(2.0)))
    readings = level(lambda minute: 1.6 if minute >= 60.0 else 0.0, every(5.0, 0.0, 75.0))
    error_deg = raised(events_of(in_order([*readings, KNOCKED]), shared), "repeak")[0].figures[
        "pointing_error_deg"
    ]
    carrier_db = float(pointing_loss_db(error_deg, 1.8))
    seen_db = 10.0 * math.log10(0.5 * 10.0 ** (carrier_db / 10.0) + 0.5)
    assert seen_db == pytest.approx(1.6, abs=0.15)


def test_a_slow_slide_is_looked_at() -> None:
    """2 dB lost over three hours, as a tripod that sinks: the loss grows with the square of the angle.

    It costs 0.7 dB after 166 minutes.
    """
    readings = level(lambda minute: 2.0 * (max(0.0, minute - 60.0) / 180.0) ** 2, every(5.0, 0.0, 260.0))
    found = raised(events_of(readings), "look-at-dish")
    assert found[0].unix_s <= at(166.5 + 20.0)


def test_a_daily_drift_of_half_a_decibel_is_left_alone() -> None:
    readings = level(
        lambda minute: 0.25 * (1.0 - math.cos(math.pi * minute / 300.0)), every(10.0, 0.0, 600.0)
    )
    assert events_of([SHADE, *readings]) == []


def shower(minute: float, peak_db: float) -> float:
    """A shower of half an hour that comes and goes: a bell with a ragged edge."""
    if not 60.0 <= minute <= 95.0:
        return 0.0
    return peak_db * math.sin(math.pi * (minute - 60.0) / 35.0) ** 2 * (1.0 + 0.35 * math.sin(1.3 * minute))


@pytest.mark.parametrize("peak_db", [1.5, 3.0, 6.0])
@pytest.mark.parametrize("gauge", [True, False])
def test_rain_never_asks_for_a_re_peak(peak_db: float, gauge: bool) -> None:
    minutes = every(5.0, 0.0, 140.0)
    readings: list[AnyReading] = list(level(lambda minute: shower(minute, peak_db), minutes))
    if gauge:
        readings += [
            Weather(unix_s=at(minute), rain_mm_h=12.0 if 58.0 <= minute <= 94.0 else 0.0)
            for minute in every(60.0, 0.0, 140.0)
        ]
    events = events_of(in_order(readings))
    assert raised(events, "repeak") == []
    assert [event.cause for event in raised(events, "wait-rain")] == ["rain"]


def test_a_knock_in_rain_is_mended_after_the_rain() -> None:
    """The dish is left alone while it rains, and what is still missing afterwards asks for a re-peak."""

    def loss_db(minute: float) -> float:
        return shower(minute, 3.0) + (1.8 if minute >= 70.0 else 0.0)

    gauge = [
        Weather(unix_s=at(minute), rain_mm_h=12.0 if 58.0 <= minute <= 94.0 else 0.0)
        for minute in every(60.0, 0.0, 180.0)
    ]
    events = events_of(in_order([*level(loss_db, every(5.0, 0.0, 180.0)), *gauge]))
    asked = [*raised(events, "repeak"), *raised(events, "look-at-dish")]
    times = [(event.unix_s - at(0.0)) / 60.0 for event in asked]
    assert times and min(times) > 94.0


def told(events: list[AlertEvent], rule: str) -> list[tuple[str, int]]:
    """What the rule did, and in which minute."""
    return [(one.state, int((one.unix_s - at(0.0)) / 60.0)) for one in events if one.rule == rule]


def test_a_re_peak_is_put_off_while_it_rains() -> None:
    """The crew notes the rain five minutes after the alert; the dish is still off when the rain is over."""

    def loss_db(minute: float) -> float:
        wet = 3.0 * math.sin(math.pi * (minute - 66.0) / 20.0) if 66.0 <= minute <= 86.0 else 0.0
        return (1.8 if minute >= 60.0 else 0.0) + wet * (1.0 + 0.35 * math.sin(1.3 * minute))

    noted = Note(unix_s=at(68.0), kind="rain")
    events = events_of(in_order([*level(loss_db, every(5.0, 0.0, 180.0)), KNOCKED, noted]))
    (first, asked), (then, put_off), (again, asked_again) = told(events, "repeak")[:3]
    assert (first, then, again) == ("raised", "cleared", "raised")
    assert asked == 63 and 68 <= put_off <= 70
    assert 88 <= asked_again <= 130
    assert next(event.evidence[0] for event in events if event.state == "cleared").startswith("put off")


@pytest.mark.parametrize("noted", [(), ("peak-start",)])
def test_a_re_peak_that_was_done_before_the_rain_is_over(noted: tuple[NoteKind, ...]) -> None:
    notes = [Note(unix_s=at(66.0), kind=kind) for kind in noted] + [
        Note(unix_s=at(68.0), kind="rain"),
        KNOCKED,
    ]
    readings = level(lambda minute: 1.8 if 60.0 <= minute < 68.0 else 0.0, every(5.0, 0.0, 90.0))
    events = events_of(in_order([*readings, *notes]))
    assert [state for state, _minute in told(events, "repeak")] == ["raised", "cleared"]
    assert next(event.evidence[0] for event in events if event.state == "cleared").startswith("over")


def test_a_re_peak_is_put_off_while_the_sun_passes() -> None:
    sun = SunPass(start_unix_s=at(72.0), peak_unix_s=at(76.0), end_unix_s=at(80.0), depth_db=6.0)

    def loss_db(minute: float) -> float:
        return (1.8 if minute >= 60.0 else 0.0) + 6.0 * math.exp(-(((minute - 76.0) / 2.2) ** 2))

    events = events_of(in_order([*level(loss_db, every(2.0, 0.0, 120.0)), KNOCKED]), plan((sun,)))
    (first, asked), (then, put_off), (again, asked_again) = told(events, "repeak")[:3]
    assert (first, then, again) == ("raised", "cleared", "raised")
    assert asked == 63 and 69 <= put_off <= 72 and 80 <= asked_again <= 90


@pytest.mark.parametrize(("rain_db", "asked"), [(0.3, True), (6.0, False)])
def test_rain_silences_only_where_it_can_take_so_much(rain_db: float, asked: bool) -> None:
    """40 mm/h on a few kilometres take tenths of a dB at 4 GHz and decibels from 10 GHz on: ITU-R P.838-3."""
    base = plan()
    band = replace(base, downlink=replace(base.downlink, rain_at_rate_db=rain_db))
    knock = level(lambda minute: 3.5 if minute >= 60.0 else 0.0, every(5.0, 0.0, 90.0))
    gauge = [Weather(unix_s=at(minute), rain_mm_h=2.0) for minute in every(60.0, 0.0, 90.0)]
    assert bool(raised(events_of(in_order([*knock, *gauge, KNOCKED]), band), "repeak")) is asked


def test_a_sun_pass_is_announced_and_never_asks_for_a_re_peak() -> None:
    sun = SunPass(start_unix_s=at(60.0), peak_unix_s=at(64.0), end_unix_s=at(68.0), depth_db=6.0)
    minutes = every(2.0, 0.0, 100.0)
    readings = level(lambda minute: 6.0 * math.exp(-(((minute - 64.0) / 2.2) ** 2)), minutes)
    events = events_of(readings, plan((sun,)))
    assert raised(events, "repeak") == []
    announced = raised(events, "wait-sun-pass")
    assert [(event.unix_s - at(45.0)) for event in announced] == [pytest.approx(0.0, abs=10.0)]


def test_somebody_walking_through_is_no_alert_and_a_crowd_is() -> None:
    def walks(minute: float, starts: tuple[float, ...]) -> float:
        return 9.0 if any(start <= minute < start + 0.06 for start in starts) else 0.0

    minutes = every(1.0, 0.0, 80.0)
    assert events_of([SHADE, *level(lambda minute: walks(minute, (60.0,)), minutes)]) == []
    crowd = events_of([SHADE, *level(lambda minute: walks(minute, (60.0, 62.0, 64.0, 66.0)), minutes)])
    assert [event.rule for event in crowd if event.state == "raised"] == ["blockage"]


@pytest.mark.parametrize("measure", ["cn_db", "quality_percent"])
def test_modems_that_say_less_are_watched_too(measure: str) -> None:
    """C/N loses the same decibels as Es/N0; a coarse quality figure loses some percent."""
    readings = []
    for minute in every(10.0, 0.0, 90.0):
        lost = minute >= 60.0
        value = (12.0 - 1.6 * lost) if measure == "cn_db" else round(82.0 - 11.0 * lost)
        readings.append(Signal(unix_s=at(minute), **{measure: value}))
    assert len(raised(events_of(in_order([*readings, KNOCKED])), "repeak")) == 1


def test_no_re_peak_is_asked_for_while_the_crew_peaks() -> None:
    moving = level(lambda minute: 2.5 if 60.0 <= minute < 72.0 else 0.0, every(5.0, 0.0, 90.0))
    notes = [Note(unix_s=at(59.9), kind="peak-start"), Note(unix_s=at(72.0), kind="peak-done")]
    assert raised(events_of(in_order([*moving, *notes])), "repeak") == []


def test_a_re_peak_that_wins_only_part_keeps_asking() -> None:
    def loss_db(minute: float) -> float:
        return 0.0 if minute < 60.0 else 3.0 if minute < 75.0 else 1.8

    notes = [Note(unix_s=at(73.0), kind="peak-start"), Note(unix_s=at(75.0), kind="peak-done")]
    one = engine()
    for reading in in_order([SHADE, *level(loss_db, every(5.0, 0.0, 95.0)), *notes, KNOCKED]):
        one.update(reading)
    now = one.situation()
    assert [alert.event.rule for alert in now.alerts] == ["repeak"]
    assert now.figures["reference_db"] == pytest.approx(14.0, abs=0.1)


def test_a_poor_first_level_is_said_once_and_not_taken_for_the_reference() -> None:
    one = engine()
    events = [event for reading in signal(every(5.0, 0.0, 40.0), 11.9) for event in one.update(reading)]
    assert [(event.rule, event.severity, event.state) for event in events] == [
        ("below-plan", "advise", "raised")
    ]
    assert one.situation().verdict == "2.1 dB below the plan"


def warming(
    limit_share: float, minutes: list[float], shade_at: float | None = None, air: bool = True
) -> Iterator[AnyReading]:
    """A unit with a time constant of 25 min that would settle `limit_share` of the way from 30 to 55 degC."""
    for minute in minutes:
        settled = 30.0 + 25.0 * limit_share
        if shade_at is not None and minute >= shade_at:
            value = 30.0 + 25.0 * limit_share * (1.0 - math.exp(-shade_at / 25.0))
            value = 38.0 + (value - 38.0) * math.exp(-(minute - shade_at) / 25.0)
        else:
            value = settled - 25.0 * limit_share * math.exp(-minute / 25.0)
        yield Temperature(unix_s=at(minute), where="transmitter", temperature_degc=round(value, 1))
        if air:
            yield Weather(unix_s=at(minute), air_degc=27.0)


def test_a_transmitter_on_its_way_over_the_limit_is_shaded_in_time() -> None:
    """It reaches 55 degC when 1.25 (1 - exp(-t / 25)) = 1, which is after 40.2 minutes."""
    limit_min = -25.0 * math.log(1.0 - 1.0 / 1.25)
    found = raised(events_of(warming(1.25, every(10.0, 0.0, 60.0))), "shade")
    assert found[0].cause == "overheat"
    assert 10.0 <= limit_min - (found[0].unix_s - at(0.0)) / 60.0 <= 35.0


def test_shade_that_works_clears_the_alert_and_says_so() -> None:
    readings = warming(1.25, every(10.0, 0.0, 120.0), shade_at=30.0)
    events = events_of(in_order([*readings, Note(unix_s=at(30.0), kind="shade-on", where="transmitter")]))
    cleared = [event for event in events if event.rule == "shade" and event.state == "cleared"]
    assert len(cleared) == 1
    assert any("shade works" in words for words in cleared[0].evidence)


def test_a_shaded_unit_that_warms_to_a_safe_level_is_no_news() -> None:
    """It settles at 43 degC, 12 below its limit: rising from a cold start is not the shade's failure."""
    one = engine()
    shade = Note(unix_s=at(1.0), kind="shade-on", where="transmitter")
    warm = warming(0.52, every(10.0, 0.0, 20.0))
    for reading in in_order([shade, *warm, *signal(every(10.0, 0.0, 20.0), 14.0)]):
        one.update(reading)
    assert one.situation().verdict.startswith("All well")


def test_a_shade_that_does_not_hold_the_temperature_is_said() -> None:
    """It heads for 61 degC although it is shaded; the limit of 55 degC is in sight, an hour and more away."""
    one = engine()
    shade = Note(unix_s=at(1.0), kind="shade-on", where="transmitter")
    for reading in in_order([shade, *warming(1.25, every(10.0, 0.0, 40.0))]):
        one.update(reading)
    alert = one.situation().alerts[0].event
    assert alert.rule == "shade"
    assert "the shade does not help enough: still rising" in alert.evidence


def test_a_cool_transmitter_in_the_sun_is_left_alone() -> None:
    """It settles at 43 degC, 12 below its limit: four hours in the sun are no reason for a word."""
    assert events_of(warming(0.52, every(10.0, 0.0, 240.0))) == []


def test_without_a_thermometer_the_rule_of_thumb_speaks() -> None:
    """Common practice: under one hour in the sun no concern, one to two advise shade, longer demands it."""
    found = raised(events_of(signal(every(10.0, 0.0, 180.0), 14.0)), "shade")
    assert [event.severity for event in found] == ["advise", "act"]
    assert [(event.unix_s - at(0.0)) / 60.0 for event in found] == [
        pytest.approx(62.0, abs=1.0),
        pytest.approx(122.0, abs=1.0),
    ]


def rated(minutes: list[float], **values: float) -> list[AnyReading]:
    return [Throughput(unix_s=at(minute), method="active", **values) for minute in minutes]  # type: ignore[arg-type]


def test_a_test_limited_by_its_own_window_blames_nobody() -> None:
    """RFC 6349 section 3.3.1: 64 kB over 600 ms carries 0.87 Mbit/s whatever the link can do."""
    carried = 65_536 * 8.0 / 0.6 / 1e6
    found = rated(
        every(300.0, 0.0, 120.0), down_mbps=carried, up_mbps=carried, rtt_ms=600.0, window_bytes=65_536
    )
    assert events_of(in_order([SHADE, *signal(every(10.0, 0.0, 120.0), 14.0), *found])) == []


def test_a_low_rate_under_a_poor_signal_is_the_signals() -> None:
    readings = level(lambda minute: 2.5 if minute >= 60.0 else 0.0, every(5.0, 0.0, 100.0))
    good = rated(every(120.0, 0.0, 60.0), down_mbps=3.9, up_mbps=3.8, rtt_ms=600.0, loss_percent=0.0)
    bad = rated(every(120.0, 62.0, 100.0), down_mbps=1.5, up_mbps=1.2, rtt_ms=600.0, loss_percent=6.0)
    events = events_of(in_order([SHADE, *readings, *good, *bad, KNOCKED]))
    assert {event.rule for event in events} == {"repeak"}


def test_the_stream_to_lower_to_is_what_the_tests_carried() -> None:
    """The uplink carries a test and the stream beside it: 0.1 + 1.2 = 1.3 Mbit/s, a fifth of it spare."""
    starts = Note(unix_s=at(0.5), kind="stream-start")
    good = rated(every(120.0, 1.0, 60.0), down_mbps=3.9, up_mbps=2.8, stream_mbps=1.2, rtt_ms=600.0)
    poor = rated(every(120.0, 61.0, 90.0), down_mbps=3.9, up_mbps=0.1, stream_mbps=1.2, rtt_ms=600.0)
    readings = in_order([SHADE, starts, *signal(every(10.0, 0.0, 90.0), 14.0), *good, *poor])
    found = raised(events_of(readings), "lower-stream")[0]
    assert found.evidence[0] == "the weakest recent uplink tests carry 1.30 Mbit/s"
    assert found.evidence[1] == "the stream of 1.2 Mbit/s needs a fifth more than itself"
    assert found.figures["stream_to_mbps"] == pytest.approx(1.3 / 1.2, abs=1e-3)


@pytest.mark.parametrize(
    ("stands_s", "told"), [(4.0, []), (8.0, ["blockage"]), (25.0, ["blockage"]), (45.0, ["blockage"])]
)
def test_who_stood_in_the_beam_is_told_also_once_gone(stands_s: float, told: list[str]) -> None:
    """Neither a turned dish nor a shower gives eight decibels back within a minute."""
    readings = level(
        lambda minute: 8.0 if 0.0 <= (minute - 60.05) * 60.0 < stands_s else 0.0, every(1.0, 20.0, 80.0)
    )
    events = [event for event in events_of([SHADE, *readings]) if event.state == "raised"]
    assert [event.rule for event in events] == told
    assert all(event.unix_s <= at(60.05) + stands_s + 60.0 for event in events)


def snowing(minute: float, air_degc: float) -> list[AnyReading]:
    """Half a decibel more every five minutes from 60 min on, up to 3 dB, on all of the modem's figures."""
    lost_db = min(3.0, 0.1 * max(0.0, minute - 60.0))
    return [
        Signal(
            unix_s=at(minute),
            esno_db=round(14.0 - lost_db, 1),
            uplink_esno_db=round(12.0 - 1.4 * lost_db, 1),
            rx_level_dbm=round(-45.0 - lost_db, 1),
        ),
        Weather(unix_s=at(minute), air_degc=air_degc, rain_mm_h=0.0),
    ]


def test_in_frost_what_grows_slowly_may_be_snow_and_is_looked_at() -> None:
    """Dry snow scatters as a turned dish misses: decibels with the square of the frequency (Ruze 1966)."""
    for air_degc, says in ((-2.0, "look-at-dish"), (12.0, "repeak")):
        minutes = every(30.0, 0.0, 90.0)
        events = events_of([SHADE, *(reading for minute in minutes for reading in snowing(minute, air_degc))])
        assert says in {event.rule for event in events if event.state == "raised"}, air_degc
        assert (says == "repeak") == bool(raised(events, "repeak")), air_degc


def test_a_step_of_a_five_step_display_is_looked_at() -> None:
    """3 dB a step: a loss that is small beside it seldom crosses one."""
    readings = [
        Signal(unix_s=at(minute), quality_percent=60.0 if minute >= 60.0 else 80.0)
        for minute in every(10.0, 0.0, 90.0)
    ]
    dry = [Weather(unix_s=at(minute), rain_mm_h=0.0) for minute in every(60.0, 0.0, 90.0)]
    found = raised(events_of(in_order([SHADE, *readings, *dry])), "look-at-dish")
    assert found and found[0].unix_s <= at(80.0)
