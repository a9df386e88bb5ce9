"""Situations of a day, put together from stretches of readings; all figures are invented."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from agent.link_plan import LinkPlan, SunPass
from agent.records import (
    Acknowledge,
    AnyReading,
    Note,
    NoteKind,
    Power,
    PowerSource,
    Signal,
    Temperature,
    Throughput,
    Weather,
)
from tests.watch.sample_day import at, every, plan, signal

PEAKED_DB = 14.0
SUN_PASS = SunPass(start_unix_s=at(40.0), peak_unix_s=at(44.0), end_unix_s=at(48.0), depth_db=5.0)


@dataclass(frozen=True, slots=True)
class Case:
    """What was heard, by which minute it is looked at, and which plan it runs with."""

    readings: tuple[AnyReading, ...]
    minute: float
    plan: LinkPlan


def case(minute: float, *parts: Iterable[AnyReading], the_plan: LinkPlan | None = None) -> Case:
    """A situation as of `minute`."""
    return Case(tuple(reading for part in parts for reading in part), minute, the_plan or night())


def night() -> LinkPlan:
    """The sample plan without sun: heat is looked at where a case wants it."""
    return plan(peak_w_m2=0.0)


def note(
    minute: float, kind: NoteKind, where: str | None = None, name: str | None = None
) -> list[AnyReading]:
    """One note of the crew."""
    return [Note(unix_s=at(minute), kind=kind, where=where, id=name)]


def peaking() -> list[AnyReading]:
    """The crew peaks within the first two minutes."""
    return [*note(0.5, "peak-start"), *note(2.0, "peak-done")]


def streaming(minute: float = 5.0) -> list[AnyReading]:
    """The stream starts."""
    return note(minute, "stream-start")


def level(first: float, last: float, level_db: float = PEAKED_DB, seconds: float = 5.0) -> Iterator[Signal]:
    """The signal at this level."""
    return signal(every(seconds, first, last), level_db)


def with_uplink(first: float, last: float, down_db: float, up_db: float) -> Iterator[Signal]:
    """Both links of a modem that tells them."""
    for one in level(first, last, down_db):
        yield replace(one, uplink_esno_db=up_db, tx_power_dbm=30.0)


def no_lock(first: float, last: float, seconds: float = 5.0) -> Iterator[Signal]:
    """A modem that has no lock says so and nothing else."""
    for minute in every(seconds, first, last):
        yield Signal(unix_s=at(minute), locked=False)


def gauge(first: float, last: float, rain_mm_h: float = 0.0, gust_m_s: float = 3.0) -> Iterator[Weather]:
    """A weather station once a minute."""
    for minute in every(60.0, first, last):
        yield Weather(unix_s=at(minute), air_degc=25.0, rain_mm_h=rain_mm_h, gust_m_s=gust_m_s)


def rate_tests(
    first: float, last: float, mbps: tuple[float, float] = (3.9, 3.8), **figures: float
) -> Iterator[Throughput]:
    """Tests of the rate once a minute; `mbps` is down and up."""
    usual = {"rtt_ms": 610.0, "loss_percent": 0.1, "jitter_ms": 8.0}
    for minute in every(60.0, first, last):
        yield Throughput(
            unix_s=at(minute), method="active", down_mbps=mbps[0], up_mbps=mbps[1], **{**usual, **figures}
        )


def thermometer(
    first: float, last: float, from_degc: float, to_degc: float, where: str = "transmitter"
) -> Iterator[Temperature]:
    """A thermometer twice a minute, between two temperatures in a straight line."""
    minutes = every(30.0, first, last)
    for index, minute in enumerate(minutes):
        degc = from_degc + (to_degc - from_degc) * index / max(1, len(minutes) - 1)
        yield Temperature(unix_s=at(minute), where=where, temperature_degc=round(degc, 1))


def supply(first: float, last: float, source: PowerSource = "mains", **left: float) -> Iterator[Power]:
    """The supply once a minute."""
    for minute in every(60.0, first, last):
        yield Power(unix_s=at(minute), source=source, **left)


def seen(minute: float, rule: str, snooze_s: float | None = None) -> list[AnyReading]:
    """The crew has seen an alert."""
    return [Acknowledge(unix_s=at(minute), rule=rule, snooze_s=snooze_s)]


PEAKED = (*peaking(), *level(0.0, 20.0))
ON_AIR = (*PEAKED, *streaming())
WATCHED = (*ON_AIR, *gauge(0.0, 20.0), *rate_tests(0.0, 20.0), *thermometer(0.0, 20.0, 35.0, 35.0))
TURNED = (14.0 - 1.8, 12.0 - 2.6)  # what a turned dish leaves of both links
WET = (14.0 - 3.0, 12.0 - 2.2)  # and what rain does


def sunny(shade_by_minute: float | None = None) -> LinkPlan:
    """The sample plan with its sun, and when it asks for a shade."""
    bright = plan()
    by = None if shade_by_minute is None else at(shade_by_minute)
    return replace(bright, heat=replace(bright.heat, shade_by_unix_s=by))


SITUATIONS: dict[str, Case] = {
    # The link's own state.
    "nothing heard but weather": case(5.0, gauge(0.0, 5.0)),
    "not locked yet": case(5.0, no_lock(0.0, 5.0)),
    "not locked yet, streaming noted": case(5.0, no_lock(0.0, 5.0), streaming(1.0)),
    "lock for the first time": case(6.0, no_lock(0.0, 5.0), level(5.0, 6.0)),
    "one reading without lock": case(20.2, PEAKED, no_lock(20.0, 20.05)),
    "lock lost for twenty seconds": case(20.4, PEAKED, no_lock(20.0, 20.4)),
    "lock lost for a minute": case(21.0, PEAKED, no_lock(20.0, 21.0)),
    "lock lost while streaming": case(21.0, ON_AIR, no_lock(20.0, 21.0)),
    "lock lost for ten minutes": case(30.0, ON_AIR, no_lock(20.0, 30.0)),
    "lock lost, readings every two minutes, one": case(
        21.0, peaking(), level(0.0, 20.0, seconds=120.0), no_lock(20.0, 22.0, 120.0)
    ),
    "lock lost, readings every two minutes, two": case(
        23.0, peaking(), level(0.0, 20.0, seconds=120.0), no_lock(20.0, 24.0, 120.0)
    ),
    "lock lost in rain": case(
        25.0, ON_AIR, gauge(0.0, 18.0), gauge(18.0, 25.0, 20.0), level(20.0, 22.0, 10.0), no_lock(22.0, 25.0)
    ),
    "lock lost by a knock": case(22.0, PEAKED, note(20.0, "moved"), no_lock(20.0, 22.0)),
    "lock lost by a gust": case(
        22.0, PEAKED, gauge(0.0, 20.0), gauge(20.0, 22.0, gust_m_s=17.0), no_lock(20.0, 22.0)
    ),
    "lock lost with the supply": case(
        22.0, PEAKED, supply(0.0, 20.0), supply(20.0, 22.0, "battery"), no_lock(20.0, 22.0)
    ),
    "lock lost in a sun pass": case(
        46.0, PEAKED, level(20.0, 43.0), no_lock(43.0, 46.0), the_plan=plan((SUN_PASS,), 0.0)
    ),
    "lock lost while peaking": case(24.0, PEAKED, note(20.0, "peak-start"), no_lock(20.0, 24.0)),
    "lock comes back": case(24.0, ON_AIR, no_lock(20.0, 23.5), level(23.5, 24.0)),
    "lock back for five minutes": case(28.5, ON_AIR, no_lock(20.0, 23.5), level(23.5, 28.5)),
    "figures go on without lock": case(
        22.0, PEAKED, (Signal(unix_s=at(m), locked=False, esno_db=3.0) for m in every(5.0, 20.0, 22.0))
    ),
    "lock alone is told": case(8.0, (Signal(unix_s=at(m), locked=True) for m in every(5.0, 0.0, 8.0))),
    # Set-up.
    "locked, four minutes": case(4.0, level(0.0, 4.0)),
    "locked, six minutes": case(6.0, level(0.0, 6.0)),
    "peaking": case(2.0, level(0.0, 2.0), note(1.0, "peak-start")),
    "peaked, level being taken": case(3.0, level(0.0, 3.0), peaking()),
    "peaked and watched": case(6.0, level(0.0, 6.0), peaking()),
    "steady near the plan, not peaked": case(14.0, level(0.0, 14.0)),
    "unsteady, not peaked": case(14.0, *(level(m, m + 1.0, 14.0 - 0.9 * (m % 2)) for m in range(14))),
    "steady below the plan": case(20.0, level(0.0, 20.0, 11.5)),
    "steady above the plan": case(20.0, level(0.0, 20.0, 16.5)),
    "below the plan, uplink as a turned dish": case(20.0, with_uplink(0.0, 20.0, 11.5, 8.4)),
    "below the plan, uplink fine": case(20.0, with_uplink(0.0, 20.0, 11.5, 12.0)),
    "below the plan, on a side lobe": case(20.0, level(0.0, 20.0, 0.5)),
    "below the plan, accepted": case(25.0, level(0.0, 25.0, 11.5), note(20.0, "accept-level")),
    "peaked below the plan": case(20.0, level(0.0, 20.0, 11.5), peaking()),
    "percent display, steady": case(
        14.0, (Signal(unix_s=at(m), quality_percent=60.0) for m in every(5.0, 0.0, 14.0))
    ),
    "rain before anybody peaked": case(14.0, level(0.0, 14.0, 11.0), gauge(0.0, 14.0, 15.0)),
    # What is not known, and losses by name.
    "all is watched and well": case(20.0, WATCHED),
    "well, rates never heard": case(20.0, PEAKED, gauge(0.0, 20.0), thermometer(0.0, 20.0, 35.0, 35.0)),
    "signal late": case(20.7, WATCHED, gauge(20.0, 20.7), rate_tests(20.0, 20.7)),
    "signal silent for five minutes": case(
        25.0, WATCHED, gauge(20.0, 25.0), rate_tests(20.0, 25.0), thermometer(20.0, 25.0, 35.0, 35.0)
    ),
    "weather late": case(
        24.0, WATCHED, level(20.0, 24.0), rate_tests(20.0, 24.0), thermometer(20.0, 24.0, 35.0, 35.0)
    ),
    "weather silent": case(
        28.0, WATCHED, level(20.0, 28.0), rate_tests(20.0, 28.0), thermometer(20.0, 28.0, 35.0, 35.0)
    ),
    "a loss nobody explains yet": case(21.5, WATCHED, level(20.0, 21.5, 12.8)),
    "rain takes little": case(
        23.0, WATCHED, level(20.0, 23.0, 13.2), gauge(20.0, 23.0, 5.0), rate_tests(20.0, 23.0)
    ),
    "rain takes much": case(
        26.0, WATCHED, level(20.0, 26.0, 11.0), gauge(20.0, 26.0, 12.0), rate_tests(20.0, 26.0)
    ),
    "sun pass soon": case(30.0, PEAKED, level(20.0, 30.0), the_plan=plan((SUN_PASS,), 0.0)),
    "sun pass now": case(
        44.0, PEAKED, level(20.0, 42.0), level(42.0, 44.0, 9.5), the_plan=plan((SUN_PASS,), 0.0)
    ),
    "turned dish, uplink tells": case(
        30.0,
        peaking(),
        with_uplink(0.0, 20.0, 14.0, 12.0),
        note(20.0, "moved"),
        with_uplink(20.0, 30.0, *TURNED),
        gauge(0.0, 30.0),
    ),
    "a re-peak of which nobody is sure any more": case(
        30.0,
        peaking(),
        with_uplink(0.0, 20.0, 14.0, 12.0),
        note(20.0, "moved"),
        with_uplink(20.0, 26.0, *TURNED),
        with_uplink(26.0, 30.0, TURNED[0], 11.8),
    ),
    "a shower grows, uplink tells": case(
        30.0,
        peaking(),
        with_uplink(0.0, 20.0, 14.0, 12.0),
        *(with_uplink(20.0 + m, 21.0 + m, 14.0 - 0.5 * m, 12.0 - 0.4 * m) for m in range(10)),
    ),
    "somebody in the beam": case(21.0, ON_AIR, level(20.0, 21.0, 7.0)),
    "somebody walked through": case(23.0, ON_AIR, level(20.0, 20.4, 7.0), level(20.4, 23.0)),
    # Notes.
    "a stray tap on rain over a turned dish": case(
        30.0,
        peaking(),
        with_uplink(0.0, 20.0, 14.0, 12.0),
        note(20.0, "moved"),
        with_uplink(20.0, 30.0, *TURNED),
        gauge(0.0, 30.0),
        note(26.0, "rain"),
    ),
    "rain noted, nothing lost": case(
        26.0,
        WATCHED,
        level(20.0, 26.0),
        note(22.0, "rain"),
        gauge(20.0, 26.0),
        rate_tests(20.0, 26.0),
        thermometer(20.0, 26.0, 35.0, 35.0),
    ),
    "rain noted, signal falls, no gauge": case(
        28.0, ON_AIR, note(20.0, "rain"), *(level(20.0 + m, 21.0 + m, 13.5 - 0.5 * m) for m in range(8))
    ),
    "rain is over, by note": case(
        60.0, ON_AIR, note(20.0, "rain"), level(20.0, 30.0, 11.5), level(30.0, 60.0), note(31.0, "rain-over")
    ),
    "a note undone": case(
        30.0,
        ON_AIR,
        note(22.0, "stream-stop", name="n1"),
        level(20.0, 30.0),
        note(24.0, "undo", name="n1"),
    ),
    "two taps of one button": case(
        22.0,
        PEAKED,
        level(20.0, 22.0),
        note(20.0, "peak-start"),
        note(20.05, "peak-start"),
        note(21.0, "peak-done"),
    ),
    # Heat.
    "first minute in the sun": case(1.0, level(0.0, 1.0), the_plan=sunny(148.0)),
    "in the sun for over an hour": case(
        65.0, peaking(), level(0.0, 65.0, seconds=30.0), the_plan=sunny(60.0)
    ),
    "heading for the limit": case(
        30.0, PEAKED, level(20.0, 30.0), thermometer(0.0, 30.0, 35.0, 51.0), the_plan=sunny()
    ),
    "over the limit": case(
        30.0, PEAKED, level(20.0, 30.0), thermometer(0.0, 30.0, 40.0, 57.0), the_plan=sunny()
    ),
    "shade just put up": case(
        31.0,
        PEAKED,
        level(20.0, 31.0),
        thermometer(0.0, 31.0, 35.0, 51.5),
        note(29.5, "shade-on", "transmitter"),
        the_plan=sunny(),
    ),
    "shade works": case(
        42.0,
        PEAKED,
        level(20.0, 42.0),
        thermometer(0.0, 30.0, 35.0, 51.0),
        thermometer(30.0, 42.0, 51.0, 47.0),
        note(30.0, "shade-on", "transmitter"),
        the_plan=sunny(),
    ),
    "shade does not help": case(
        42.0,
        PEAKED,
        level(20.0, 42.0),
        thermometer(0.0, 42.0, 35.0, 53.0),
        note(30.0, "shade-on", "transmitter"),
        the_plan=sunny(),
    ),
    "hot at night": case(30.0, PEAKED, level(20.0, 30.0), thermometer(0.0, 30.0, 40.0, 57.0)),
    "modem too warm indoors": case(
        30.0, PEAKED, level(20.0, 30.0), thermometer(0.0, 30.0, 40.0, 53.0, "modem"), the_plan=sunny()
    ),
    "heat on battery": case(
        30.0,
        PEAKED,
        level(20.0, 30.0),
        thermometer(0.0, 30.0, 40.0, 57.0),
        supply(0.0, 20.0),
        supply(20.0, 30.0, "battery", runtime_s=1200.0, battery_percent=35.0),
    ),
    # Rates.
    "nothing gets through": case(
        23.0, WATCHED, level(20.0, 23.0), rate_tests(20.0, 23.0, (0.0, 0.0), loss_percent=100.0)
    ),
    "nothing gets through, no stream": case(
        23.0,
        PEAKED,
        rate_tests(0.0, 20.0),
        level(20.0, 23.0),
        rate_tests(20.0, 23.0, (0.0, 0.0), loss_percent=100.0),
    ),
    "nothing gets through in rain": case(
        26.0,
        WATCHED,
        level(20.0, 26.0, 10.5),
        gauge(20.0, 26.0, 20.0),
        rate_tests(20.0, 26.0, (0.0, 0.0), loss_percent=100.0),
    ),
    "nothing gets through, then lock is lost in rain": case(
        27.0,
        WATCHED,
        level(20.0, 24.0, 10.5),
        no_lock(24.0, 27.0),
        gauge(20.0, 27.0, 20.0),
        rate_tests(20.0, 27.0, (0.0, 0.0), loss_percent=100.0),
    ),
    "weak uplink": case(30.0, ON_AIR, level(20.0, 30.0), rate_tests(0.0, 30.0, (3.9, 2.0))),
    "weak tests have grown old": case(50.0, ON_AIR, level(20.0, 50.0), rate_tests(0.0, 20.0, (3.9, 2.0))),
    # Power, alerts that are answered, and several things at once.
    "on battery": case(
        25.0, WATCHED, level(20.0, 25.0), supply(0.0, 20.0), supply(20.0, 25.0, "battery", runtime_s=3600.0)
    ),
    "battery nearly empty": case(
        25.0,
        WATCHED,
        level(20.0, 25.0),
        supply(0.0, 20.0),
        supply(20.0, 25.0, "battery", battery_percent=12.0),
    ),
    "battery back within a minute": case(
        28.0,
        PEAKED,
        level(20.0, 28.0),
        supply(0.0, 20.0),
        supply(20.0, 23.0, "battery"),
        supply(23.0, 25.0),
        supply(25.0, 28.0, "battery"),
    ),
    "alert seen": case(
        25.0,
        PEAKED,
        level(20.0, 25.0),
        supply(0.0, 20.0),
        supply(20.0, 25.0, "battery"),
        seen(23.0, "on-battery"),
    ),
    "alert snoozed": case(
        25.0,
        PEAKED,
        level(20.0, 25.0),
        supply(0.0, 20.0),
        supply(20.0, 25.0, "battery"),
        seen(23.0, "on-battery", 300.0),
    ),
    "snooze ends": case(
        30.0,
        PEAKED,
        level(20.0, 30.0),
        supply(0.0, 20.0),
        supply(20.0, 30.0, "battery"),
        seen(23.0, "on-battery", 300.0),
    ),
    "lock lost while heat leads": case(
        30.2,
        PEAKED,
        level(20.0, 30.0),
        no_lock(30.0, 30.2),
        thermometer(0.0, 30.2, 40.0, 57.0),
        the_plan=sunny(),
    ),
    "lock lost, then silence": case(25.0, ON_AIR, no_lock(20.0, 22.0)),
    "rain while heat leads": case(
        30.0,
        ON_AIR,
        level(20.0, 25.0),
        level(25.0, 30.0, 11.0),
        gauge(0.0, 24.0),
        gauge(24.0, 30.0, 12.0),
        rate_tests(0.0, 30.0),
        thermometer(0.0, 30.0, 40.0, 57.0),
        the_plan=sunny(),
    ),
    "silence while the battery leads": case(
        22.0, WATCHED, supply(0.0, 20.0), supply(20.0, 22.0, "battery", runtime_s=3600.0)
    ),
    "rain with the dish turned": case(
        30.0,
        peaking(),
        with_uplink(0.0, 20.0, 14.0, 12.0),
        note(20.0, "moved"),
        with_uplink(20.0, 24.0, *TURNED),
        with_uplink(24.0, 30.0, 9.5, 7.5),
        gauge(0.0, 24.0),
        gauge(24.0, 30.0, 15.0),
    ),
}
