"""A made-up plan and a made-up day in which every rule has something to say.

The numbers are inputs, not expectations: a plan of a common Ku-band terminal, with a sun pass put in by hand.
"""

import math
import random
from collections.abc import Iterable, Iterator
from dataclasses import fields
from typing import TypeVar

from agent.job import Job
from agent.link_plan import Budget, HeatOutlook, LinkPlan, Pointing, SunPass, Sunshine
from agent.records import (
    KINDS,
    Acknowledge,
    AlertEvent,
    AnyReading,
    Note,
    Power,
    Signal,
    Temperature,
    Throughput,
    Weather,
)
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import default_rules
from tests.plan.sample_job import job

MIDNIGHT_UNIX_S = 1_784_332_800.0  # 2026-07-18T00:00:00Z
START_UNIX_S = MIDNIGHT_UNIX_S + 8 * 3600.0
HOUR_S = 3600.0
Record = TypeVar("Record")


def filled(kind: type[Record], **known: object) -> Record:
    """A record of `kind` whose other fields are NaN: reading one of them by mistake shows."""
    named = getattr(kind, "_fields", None)
    names = named or [item.name for item in fields(kind)]  # type: ignore[arg-type]
    return kind(**{name: known.get(name, math.nan) for name in names})


def sunshine(peak_w_m2: float = 950.0) -> Sunshine:
    """Two days of sun from 06 to 19 UTC, a half sine."""
    hours = [(index * 300.0 % 86_400.0) / 3600.0 for index in range(2 * 288 + 1)]
    total = [peak_w_m2 * max(0.0, math.sin(math.pi * (hour - 6.0) / 13.0)) for hour in hours]
    return Sunshine(
        start_unix_s=MIDNIGHT_UNIX_S,
        step_s=300.0,
        direct_normal_w_m2=tuple(800.0 if value > 50.0 else 0.0 for value in total),
        global_horizontal_w_m2=tuple(total),
    )


def plan(sun_passes: tuple[SunPass, ...] = (), peak_w_m2: float = 950.0) -> LinkPlan:
    """A plan with what the watch reads of it."""
    down = filled(
        Budget,
        beamwidth_deg=1.8,
        esno_clear_db=14.0,
        system_noise_k=110.0,
        rain_at_rate_db=6.0,
        rain_rate_mm_h=40.0,
        rain_exponent=1.1,
        rate_clear_mbps=8.0,
        interference_cn_db=None,
    )
    up = filled(Budget, beamwidth_deg=1.5, esno_clear_db=12.0, rate_clear_mbps=5.0)
    return filled(
        LinkPlan,
        terminal="van-1",
        pointing=filled(
            Pointing,
            elevation_deg=45.0,
            azimuth_true_deg=201.3,
            azimuth_magnetic_deg=202.8,
            polarisation_skew_deg=-16.4,
        ),
        downlink=down,
        uplink=up,
        sun_passes=sun_passes,
        sun_pass_effects=(),
        heat=filled(HeatOutlook, sunshine=sunshine(peak_w_m2)),
    )


def at(minute: float) -> float:
    """Unix seconds of this minute of the day."""
    return START_UNIX_S + minute * 60.0


def signal(
    minutes: Iterable[float], level_db: float, seed: int = 1, noise_db: float = 0.12
) -> Iterator[Signal]:
    """Signal readings of this level at these minutes, in steps of 0.1 dB."""
    chance = random.Random(seed)
    for minute in minutes:
        yield Signal(unix_s=at(minute), esno_db=round(level_db + chance.gauss(0.0, noise_db), 1))


def every(seconds: float, first_minute: float, last_minute: float) -> list[float]:
    """Minutes from first to before last, this many seconds apart."""
    count = round((last_minute - first_minute) * 60.0 / seconds)
    return [first_minute + index * seconds / 60.0 for index in range(count)]


def in_order(readings: Iterable[AnyReading]) -> list[AnyReading]:
    """As recorded: by time, then by kind."""
    rank = {kind: position for position, kind in enumerate(KINDS.values())}
    return sorted(readings, key=lambda reading: (reading.unix_s, rank[type(reading)]))


def engine(the_plan: LinkPlan | None = None, the_job: Job | None = None) -> AlertEngine:
    """An engine with the default rules."""
    return AlertEngine(the_job or job(), the_plan or plan(), default_rules())


def events_of(readings: Iterable[AnyReading], the_plan: LinkPlan | None = None) -> list[AlertEvent]:
    """All events of these readings."""
    one = engine(the_plan)
    return [event for reading in readings for event in one.update(reading)]


FULL_DAY_PASS = SunPass(start_unix_s=at(80.0), peak_unix_s=at(84.0), end_unix_s=at(88.0), depth_db=5.0)


def _full_day_signal() -> Iterator[AnyReading]:
    chance = random.Random(7)
    for minute in every(5.0, 0.0, 420.0):
        if 300.0 <= minute < 306.0:
            continue  # the modem is silent
        if 360.0 <= minute < 364.0:
            yield Signal(unix_s=at(minute), locked=False)
            continue
        loss_db = 0.0
        if 30.0 <= minute < 50.0:
            loss_db = 1.6  # a knock, mended by a re-peak
        if 375.0 <= minute < 405.0:
            loss_db = 1.6  # the same without a note, and it goes by itself
        if 80.0 <= minute < 88.0:
            loss_db = 4.8 * math.exp(-(((minute - 84.0) / 2.0) ** 2))
        if 110.0 <= minute < 140.0:
            loss_db = 3.0 * math.sin(math.pi * (minute - 110.0) / 30.0) * (1.0 + 0.3 * math.sin(minute))
        if 160.0 <= minute < 172.0 and minute % 3.0 < 0.6:
            loss_db = 9.0
        if minute < 17.0:
            loss_db = 2.5  # on the air before anybody has peaked
        yield Signal(unix_s=at(minute), esno_db=round(14.2 - loss_db + chance.gauss(0.0, 0.12), 1))


def _full_day_tests() -> Iterator[AnyReading]:
    for minute in every(60.0, 0.5, 420.0):
        down, up, rtt_ms, loss = 3.9, 3.8, 610.0, 0.1
        if 190.0 <= minute < 205.0:
            down, up, loss = 1.5, 1.6, 9.0
        elif 220.0 <= minute < 235.0:
            down, up, rtt_ms = 1.4, 1.5, 1400.0
        elif 250.0 <= minute < 270.0:
            down, up = 1.2, 3.6
        elif 330.0 <= minute < 345.0:
            up = 2.2
        elif 375.0 <= minute < 378.0:
            down, up, loss = 0.0, 0.0, 100.0
        yield Throughput(
            unix_s=at(minute),
            method="active",
            down_mbps=down,
            up_mbps=up,
            rtt_ms=rtt_ms,
            loss_percent=loss,
            jitter_ms=8.0,
        )


def _full_day_heat() -> Iterator[AnyReading]:
    temperature = 34.0
    for minute in every(30.0, 0.0, 420.0):
        shaded = minute >= 75.0
        sun = 950.0 * math.sin(math.pi * (2.0 + minute / 60.0) / 13.0) * (0.25 if shaded else 1.0)
        temperature += (40.0 + 0.024 * sun - temperature) / 60.0
        yield Temperature(unix_s=at(minute), where="transmitter", temperature_degc=round(temperature, 1))
        rain = 8.0 if 112.0 <= minute < 138.0 else 0.0
        yield Weather(unix_s=at(minute), air_degc=27.0, rain_mm_h=rain)
        on_battery = 280.0 <= minute < 290.0
        yield Power(unix_s=at(minute), source="battery" if on_battery else "generator")


def full_day() -> list[AnyReading]:
    """Seven hours in which every rule about what devices tell is raised and cleared."""
    notes: list[AnyReading] = [
        Note(unix_s=at(1.0), kind="stream-start"),
        Note(unix_s=at(31.0), kind="moved"),
        Note(unix_s=at(47.0), kind="peak-start"),
        Note(unix_s=at(50.0), kind="peak-done"),
        Note(unix_s=at(16.5), kind="peak-start"),
        Note(unix_s=at(18.0), kind="peak-done"),
        Note(unix_s=at(75.0), kind="shade-on", where="transmitter"),
        Acknowledge(unix_s=at(40.0), rule="repeak", by="Ines"),
        Signal(unix_s=at(320.05), sent_unix_s=at(-500.0), esno_db=14.2),
    ]
    return in_order([*notes, *_full_day_signal(), *_full_day_tests(), *_full_day_heat()])
