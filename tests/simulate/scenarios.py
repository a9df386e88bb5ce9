"""Random invented days of every kind, for judging detection on days that nobody chose."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from tests.simulate.jobs import PLACES, Band, Place, job_of
from tests.simulate.scenario import (
    Blockage,
    ClockJump,
    Congestion,
    Crew,
    Duplicates,
    Episode,
    LanTrouble,
    LateBurst,
    Mispoint,
    MissingInput,
    Outage,
    Rain,
    Reboot,
    Scenario,
    Sensors,
    StuckSensor,
)
from tests.simulate.sky import SkyKind
from tests.simulate.sun_dates import sun_pass_date
from tests.simulate.terminal import Hardware

QUIET_SHARE = 0.25
# Sun passes fall on a few days near the equinox; a fifth of all days has one, which is enough to judge.
SUN_PASS_SHARE = 0.2
SET_UP_S = 3600.0
PACK_UP_S = 1200.0
LEVELLED_SHARE = 0.2  # of the networks level the uplink of their terminals
WITHIN_ROOM = 0.6
UNMENDED_S = (900.0, 2700.0)  # the crew has other work
UNMENDED_READINGS = 5.0  # and sees no sooner than these that the dish has turned
ONCE_CLEAR_S = (600.0, 1800.0)
# The smallest loss that shows in each way of reporting: one of five steps is 3.2 dB wide, a percent 0.16 dB.
SMALLEST_LOSS_DB = {"esno": 1.3, "cn": 1.3, "percent": 1.5, "five": 5.0}
# Attenuation of light and of heavy rain, and the rate of heavy rain: some 4.5 km of what ITU-R P.838-3 has
# for each (at 4 GHz 0.08 dB/km for 90 mm/h; at 11.5 and 20 GHz 1.5 and 4 dB/km for 40 mm/h).
RAIN_DB: dict[Band, tuple[float, float]] = {"C": (0.1, 0.4), "Ku": (1.5, 7.0), "Ka": (3.0, 15.0)}
HEAVY_RAIN_MM_H: dict[Band, float] = {"C": 90.0, "Ku": 40.0, "Ka": 40.0}


def random_scenario(seed: int) -> Scenario:
    """A day of any kind; a quarter of all seeds are days without an episode."""
    rng = np.random.default_rng([seed, 0x5CE7A])
    place = PLACES[str(rng.choice(list(PLACES)))]
    band: Band = ("Ku", "Ku", "Ku", "Ka", "C")[int(rng.integers(5))]
    day = date(2026, 1, 1) + timedelta(days=int(rng.integers(365)))
    if rng.random() < SUN_PASS_SHARE:
        day = sun_pass_date(place, band, day)
    hours = float(rng.choice([8.0, 9.0, 10.0, 12.0]))
    air = _air(place, day, rng)
    start = f"{day.isoformat()}T{int(rng.integers(6, 10)):02d}:{int(rng.choice([0, 15, 30, 45])):02d}:00"
    limit_degc = float(rng.choice([50.0, 50.0, 55.0, 60.0]))
    sensors = _sensors(rng)
    quiet = bool(rng.random() < QUIET_SHARE)
    return Scenario(
        name=f"random-{seed}",
        title=f"Random day {seed}",
        story=f"An invented day drawn with seed {seed}.",
        job=job_of(place, band, start, hours, limit_degc),
        sky=SkyKind(
            air_low_degc=air[0],
            air_high_degc=air[1],
            cloud_fraction=float(rng.choice([0.0, 0.1, 0.3, 0.6, 0.9])),
            wind_m_s=float(rng.uniform(1.0, 8.0)),
            humidity_percent=float(rng.uniform(20.0, 85.0)),
            sun_activity=float(rng.uniform(0.8, 1.5)),
        ),
        hardware=_hardware(rng),
        sensors=sensors,
        crew=_crew(rng, quiet),
        episodes=() if quiet else _episodes(rng, band, sensors, hours * 3600.0),
        peak_residual_db=float(rng.uniform(0.0, 0.25)),
    )


def _air(place: Place, day: date, rng: np.random.Generator) -> tuple[float, float]:
    """Between the place's winter and summer by the date, give or take four kelvin."""
    north_summer = 0.5 * (1.0 + np.cos(2.0 * np.pi * ((day - date(2026, 7, 20)).days / 365.25)))
    summer = north_summer if place.site.latitude_deg >= 0.0 else 1.0 - north_summer
    odd_k = float(rng.uniform(-4.0, 4.0))
    low, high = (
        winter + (hot - winter) * summer + odd_k
        for winter, hot in zip(place.winter_degc, place.summer_degc, strict=True)
    )
    return float(low), float(high)


def _hardware(rng: np.random.Generator) -> Hardware:
    return Hardware(
        down_offset_db=float(rng.normal(0.0, 0.4)),
        up_offset_db=float(rng.normal(0.0, 0.4)),
        drift_db=float(rng.uniform(0.0, 0.35)),
        drift_hour=float(rng.uniform(0.0, 24.0)),
        sun_rise_k=float(rng.uniform(10.0, 26.0)),
        loss_rise_k=float(rng.uniform(8.0, 18.0)),
        heating_tau_s=float(rng.uniform(1200.0, 3000.0)),
        shade_share=float(rng.uniform(0.1, 0.35)),
        derating_db_k=float(rng.uniform(0.05, 0.2)),
        trip_k=float(rng.uniform(8.0, 15.0)),
        levelling_db=float(rng.uniform(2.0, 8.0)) if rng.random() < LEVELLED_SHARE else 0.0,
    )


def _sensors(rng: np.random.Generator) -> Sensors:
    return Sensors(
        signal_step_s=float(rng.choice([1.0, 1.0, 2.0, 5.0, 10.0, 30.0, 60.0, 300.0])),
        other_step_s=float(rng.choice([10.0, 10.0, 30.0, 60.0, 300.0])),
        quality=(("esno", "esno", "esno", "cn", "cn", "percent", "five")[int(rng.integers(7))]),
        resolution_db=float(rng.choice([0.1, 0.1, 0.2, 0.5])),
        noise_db=float(rng.uniform(0.05, 0.3)),
        scintillation_db=float(rng.uniform(0.02, 0.2)),
        scintillation_tau_s=float(rng.uniform(3.0, 30.0)),
        slow_noise_db=float(rng.uniform(0.0, 0.12)),
        uplink_reported=bool(rng.random() < 0.7),
        transmit_power_reported=bool(rng.random() < 0.4),
        power_reported=bool(rng.random() < 0.7),
        weather_station=bool(rng.random() < 0.7),
        rain_gauge=bool(rng.random() < 0.6),
        throughput=bool(rng.random() < 0.85),
        temperature=bool(rng.random() < 0.9),
        test_step_s=float(rng.choice([600.0, 900.0, 1200.0])),
        window_bytes=int(rng.choice([65_535, 262_144, 1_048_576])),
        flows=int(rng.choice([1, 4, 8])),
        time_jitter_s=float(rng.choice([0.0, 0.3, 0.9])),
    )


def _crew(rng: np.random.Generator, quiet: bool) -> Crew:
    peak_start_s = float(rng.uniform(120.0, 600.0))
    peak_done_s = peak_start_s + float(rng.uniform(180.0, 900.0))
    shade = rng.random()
    early_s = float(rng.uniform(600.0, 3000.0))
    return Crew(
        peak_start_s=peak_start_s,
        peak_done_s=peak_done_s,
        stream_start_s=peak_done_s + float(rng.uniform(300.0, 1800.0)),
        shade_at_s=early_s if quiet or shade < 0.3 else None,
        shade_margin_k=float(rng.uniform(1.0, 8.0)) if 0.3 <= shade < 0.7 else None,
        shade_delay_s=float(rng.uniform(120.0, 1200.0)),
        peaking_s=float(rng.uniform(120.0, 420.0)),
    )


def _episodes(rng: np.random.Generator, band: Band, sensors: Sensors, span_s: float) -> tuple[Episode, ...]:
    """One to four episodes that the sensors can see, and perhaps faults of the sensors beside them."""
    kinds = ["gust", "gust", "knock", "slide", "rain", "rain", "blockage", "rain-slide", "gust-blockage"]
    if sensors.throughput:
        kinds += ["lan", "network"]
    if sensors.power_reported:
        kinds.append("power")
    drawn = [str(kind) for kind in rng.choice(kinds, size=int(rng.integers(1, 5)))]
    room_s = (span_s - SET_UP_S - PACK_UP_S) / len(drawn)
    episodes: list[Episode] = []
    for number, kind in enumerate(drawn):
        # Each has a part of the day of its own, so that overlaps are those that are meant.
        begin_s = SET_UP_S + number * room_s
        at_s = float(np.round(begin_s + rng.uniform(0.0, 0.25) * room_s))
        episodes += _kind(rng, kind, (band, sensors), at_s, begin_s + room_s - at_s)
    if rng.random() < 0.4:
        # A nudge of a few tenths of a dB is not worth a re-peak, and no episode.
        # Before the first episode: it must not push a dish back that a gust has turned.
        nudge_s = float(np.round(rng.uniform(SET_UP_S - 900.0, SET_UP_S - 300.0)))
        episodes.append(
            Mispoint(how="gust", at_s=nudge_s, loss_db=float(rng.uniform(0.1, 0.4)), mended_after_s=None)
        )
    return tuple(episodes + _faults(rng, span_s))


def _kind(
    rng: np.random.Generator, kind: str, seen: tuple[Band, Sensors], at_s: float, room_s: float
) -> list[Episode]:
    """The episodes of one kind from `at_s` on, over within `room_s`."""
    band, sensors = seen
    match kind:
        case "gust" | "knock":
            return [_step(rng, kind, sensors, at_s, room_s)]
        case "slide":
            return [_slide(rng, sensors, at_s, room_s)]
        case "rain":
            return [_rain(rng, band, at_s, room_s)]
        case "blockage":
            return [_blockage(rng, sensors, at_s)]
        case "rain-slide":
            shower = _rain(rng, band, at_s, 0.5 * room_s)
            start_s = at_s + 0.5 * shower.lasts_s
            slide = _slide(rng, sensors, start_s, room_s - 0.5 * shower.lasts_s)
            return [shower, _mended_once_clear(rng, slide, at_s + shower.lasts_s)]
        case "gust-blockage":
            gust = _step(rng, "gust", sensors, at_s, room_s)
            obstacle = _blockage(rng, sensors, at_s + float(np.round(rng.uniform(120.0, 500.0))))
            return [_mended_once_clear(rng, gust, obstacle.at_s + obstacle.lasts_s), obstacle]
        case _:
            return [_beyond(rng, kind, at_s, room_s)]


def _beyond(rng: np.random.Generator, kind: str, at_s: float, room_s: float) -> Episode:
    """Trouble that is not the carrier's; long enough for three tests of the rate."""
    lasts_s = float(np.round(min(rng.uniform(3000.0, 5400.0), 0.7 * room_s)))
    if kind == "lan":
        return LanTrouble(
            at_s=at_s,
            lasts_s=lasts_s,
            loss_percent=float(rng.uniform(3.0, 15.0)),
            rate_share=float(rng.uniform(0.1, 0.45)),
        )
    if kind == "network":
        return Congestion(
            at_s=at_s,
            lasts_s=lasts_s,
            added_rtt_ms=float(rng.uniform(300.0, 1200.0)),
            rate_share=float(rng.uniform(0.1, 0.45)),
        )
    return Outage(at_s=at_s, lasts_s=float(np.round(min(rng.uniform(600.0, 4200.0), 0.7 * room_s))))


def _loss_db(rng: np.random.Generator, sensors: Sensors) -> float:
    smallest = SMALLEST_LOSS_DB[sensors.quality]
    return float(rng.uniform(smallest, smallest + 3.0))


def _step(rng: np.random.Generator, how: str, sensors: Sensors, at_s: float, room_s: float) -> Mispoint:
    longer_s = max(0.0, UNMENDED_READINGS * sensors.signal_step_s - UNMENDED_S[0])
    mended_s = float(np.round(min(rng.uniform(*UNMENDED_S) + longer_s, WITHIN_ROOM * room_s)))
    return Mispoint(
        how="knock" if how == "knock" else "gust",
        at_s=at_s,
        loss_db=_loss_db(rng, sensors),
        toward_deg=float(rng.uniform(-180.0, 180.0)),
        mended_after_s=mended_s,
    )


def _slide(rng: np.random.Generator, sensors: Sensors, at_s: float, room_s: float) -> Mispoint:
    over_s = float(np.round(min(rng.uniform(1800.0, 7200.0), 0.5 * room_s)))
    return Mispoint(
        how="slide",
        at_s=float(np.round(at_s)),
        loss_db=_loss_db(rng, sensors) + 0.5,
        over_s=over_s,
        toward_deg=float(rng.uniform(-180.0, 180.0)),
        mended_after_s=over_s + float(np.round(min(rng.uniform(600.0, 1800.0), 0.3 * room_s))),
    )


def _mended_once_clear(rng: np.random.Generator, dish: Mispoint, clear_s: float) -> Mispoint:
    """Nobody can peak through rain or behind a truck: the crew goes to the dish when the path is clear."""
    wait_s = float(np.round(rng.uniform(*ONCE_CLEAR_S)))
    return replace(dish, mended_after_s=max(dish.mended_after_s or 0.0, clear_s + wait_s - dish.at_s))


def _rain(rng: np.random.Generator, band: Band, at_s: float, room_s: float) -> Rain:
    low_db, high_db = RAIN_DB[band]
    peak_db = float(rng.uniform(low_db, high_db))
    usual_mm_h = HEAVY_RAIN_MM_H[band] * peak_db / high_db
    noted = rng.random() < 0.4
    return Rain(
        at_s=at_s,
        lasts_s=float(np.round(min(rng.uniform(1500.0, 5400.0), 0.8 * room_s))),
        peak_db=peak_db,
        rate_mm_h=float(np.clip(usual_mm_h * rng.uniform(0.7, 1.5), 4.0, 90.0)),
        noted_after_s=float(np.round(rng.uniform(120.0, 600.0))) if noted else None,
    )


def _blockage(rng: np.random.Generator, sensors: Sensors, at_s: float) -> Blockage:
    """Not shorter than four readings of the signal: nobody can be blamed for what was never measured."""
    what = ("truck", "people", "tree")[int(rng.integers(3))]
    shortest_s = max(60.0, 4.0 * sensors.signal_step_s)
    return Blockage(
        what=what,  # type: ignore[arg-type]
        at_s=at_s,
        lasts_s=float(np.round(rng.uniform(shortest_s, shortest_s + 420.0))),
        depth_db=float(rng.uniform(6.0, 18.0)),
    )


def _faults(rng: np.random.Generator, span_s: float) -> list[Episode]:
    """Faults of sensors and messages: none of them is a reason to touch the terminal."""
    found: list[Episode] = []
    if rng.random() < 0.5:
        return found
    at_s = float(np.round(rng.uniform(SET_UP_S, 0.8 * span_s)))
    lasts_s = float(np.round(rng.uniform(300.0, 2400.0)))
    match int(rng.integers(7)):
        case 0:
            found.append(Reboot(at_s=at_s, lasts_s=float(np.round(rng.uniform(60.0, 130.0)))))
        case 1:
            found.append(StuckSensor(kind="transmitter", at_s=at_s, lasts_s=lasts_s))
        case 2:
            found.append(MissingInput(kind="weather", at_s=at_s, lasts_s=2.0 * lasts_s))
        case 3:
            found.append(ClockJump(kind="signal", at_s=at_s, lasts_s=lasts_s, by_s=7200.0))
        case 4:
            found.append(LateBurst(kind="signal", at_s=at_s, lasts_s=min(lasts_s, 110.0), shuffled=True))
        case 5:
            found.append(Duplicates(kind="temperature", at_s=at_s, lasts_s=lasts_s))
        case _:
            found.append(MissingInput(kind="temperature", at_s=at_s, lasts_s=lasts_s))
    return found
