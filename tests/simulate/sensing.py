"""What modem, thermometers, weather station and tests report of the physical day."""

import numpy as np
from numpy.typing import NDArray

from agent.plan.modcod import ladder
from agent.records import AnyReading, Note, Power, Signal, Temperature, Weather
from tests.simulate.physics import PhysicalDay
from tests.simulate.scenario import Scenario, Sensors, StuckSensor
from tests.simulate.sky import FloatArray, wander
from tests.simulate.terminal import RAIN_TEMPERATURE_K
from tests.simulate.ticks import Ticks, ticks_of
from tests.simulate.traffic import throughput_of

# A modem calls this worst and best when it reports a percentage (each maker has its own; these are ours).
QUALITY_ZERO_DB = 2.0
QUALITY_FULL_DB = 18.0
FLOOR_DB = -5.0  # Below this a modem shows nothing lower.
WITHOUT_LOCK = ("locked", "rx_level_dbm")  # what a modem tells all the same
RX_LEVEL_CLEAR_DBM = -48.0
TRANSMIT_STEP_DB = 0.5
# Weather and power change slowly and are asked for less often than the thermometers.
WEATHER_EVERY = 6
POWER_EVERY = 3


def readings_of(
    scenario: Scenario, day: PhysicalDay, rng: np.random.Generator
) -> dict[str, list[AnyReading]]:
    """All readings by kind, each list in time order."""
    sensors = scenario.sensors
    readings: dict[str, list[AnyReading]] = {"note": notes_of(scenario, day)}
    readings["signal"] = signal_of(scenario, day, rng)
    slow = ticks_of(day, sensors.other_step_s, sensors, rng)
    if sensors.power_reported:
        readings["power"] = power_of(day, slow, rng)
    if sensors.weather_station:
        readings["weather"] = weather_readings(day, slow, sensors, rng)
    if sensors.temperature:
        readings["temperature"] = temperature_of(scenario, day, slow, rng)
    if sensors.throughput:
        readings["throughput"] = throughput_of(scenario, day, slow, rng)
    return readings


def _stepped(values: FloatArray, step: float) -> FloatArray:
    """Rounded to the sensor's resolution, with no more digits than it has."""
    return np.asarray(np.round(np.round(values / step) * step, 3))


def _while(sending: NDArray[np.bool_], values: FloatArray, step: float) -> list[object]:
    """The values in the sensor's steps while the transmitter sends, None while it does not."""
    shown = _stepped(values, step).tolist()
    return [value if on else None for value, on in zip(shown, sending, strict=True)]


def _with_lock(name: str, column: list[object], locked: list[object]) -> list[object]:
    """A modem without lock has no figure of the carrier and sends nothing (common practice)."""
    if name in WITHOUT_LOCK:
        return column
    return [value if lock else None for value, lock in zip(column, locked, strict=True)]


def _stuck(values: FloatArray, scenario: Scenario, ticks: Ticks, kind: str) -> FloatArray:
    held = values.copy()
    for episode in scenario.episodes:
        if isinstance(episode, StuckSensor) and episode.kind == kind:
            inside = (ticks.index >= episode.at_s) & (ticks.index < episode.at_s + episode.lasts_s)
            if inside.any():
                held[inside] = values[np.argmax(inside)]
    return held


def notes_of(scenario: Scenario, day: PhysicalDay) -> list[AnyReading]:
    """The crew's notes, each written by one of them."""
    names = scenario.crew.names
    notes: list[AnyReading] = []
    for number, action in enumerate(sorted(day.truth.actions, key=lambda action: action.at_s)):
        if not 0.0 <= action.at_s < len(day.unix_s):
            continue
        notes.append(
            Note(
                unix_s=float(day.unix_s[0]) + float(round(action.at_s)),
                kind=action.kind,
                where=action.where,
                text=action.text,
                by=names[number % len(names)],
            )
        )
    return notes


def signal_of(scenario: Scenario, day: PhysicalDay, rng: np.random.Generator) -> list[AnyReading]:
    """The modem's view of both carriers; silent while it is off."""
    sensors = scenario.sensors
    ticks = ticks_of(day, sensors.signal_step_s, sensors, rng)
    count = len(day.unix_s)
    shared = sensors.scintillation_db * wander(rng, count, sensors.scintillation_tau_s)
    slow = sensors.slow_noise_db * wander(rng, count, 900.0)
    down = (day.down_esno_db + shared + slow)[ticks.index]
    up = (day.up_esno_db + 0.7 * shared + sensors.slow_noise_db * wander(rng, count, 900.0))[ticks.index]
    down = down + sensors.noise_db * rng.standard_normal(len(down))
    up = up + sensors.noise_db * rng.standard_normal(len(up))
    columns = _carrier_columns(scenario, day, ticks, down, rng)
    sending = (day.heat.sending * day.truth.modem_on)[ticks.index] > 0.0
    if sensors.uplink_reported:
        columns["uplink_esno_db"] = _while(sending, np.clip(up, FLOOR_DB, 40.0), sensors.resolution_db)
    if sensors.transmit_power_reported:
        nominal_dbm = 30.0 + 10.0 * np.log10(scenario.job.transmitter.power_w)
        nominal_dbm -= scenario.job.transmitter.output_back_off_db
        columns["tx_power_dbm"] = _while(
            sending, nominal_dbm + day.sent_more_db[ticks.index], TRANSMIT_STEP_DB
        )
    columns = {name: _with_lock(name, column, columns["locked"]) for name, column in columns.items()}
    names = list(columns)
    rows = zip(*columns.values(), strict=True)
    on = day.truth.modem_on[ticks.index] > 0.0
    return [
        Signal(unix_s=unix_s, **dict(zip(names, row, strict=True)))
        for unix_s, row, reported in zip(ticks.unix_s.tolist(), rows, on, strict=True)
        if reported
    ]


def _carrier_columns(
    scenario: Scenario, day: PhysicalDay, ticks: Ticks, down: FloatArray, rng: np.random.Generator
) -> dict[str, list[object]]:
    """The downlink as this modem words it: Es/N0, C/N, a percentage or one of five steps."""
    job, sensors = scenario.job, scenario.sensors
    rungs = ladder(job.modem.standard)
    needed = np.array([rung.esno_db for rung in rungs]) + job.modem.implementation_margin_db
    locked = day.down_esno_db[ticks.index] > needed[0]
    columns: dict[str, list[object]] = {"locked": locked.tolist()}
    shown = _stuck(np.clip(down, FLOOR_DB, 40.0), scenario, ticks, "signal")
    percent = np.clip((shown - QUALITY_ZERO_DB) / (QUALITY_FULL_DB - QUALITY_ZERO_DB) * 100.0, 0.0, 100.0)
    if sensors.quality == "percent":
        columns["quality_percent"] = _stepped(percent, 1.0).tolist()
    elif sensors.quality == "five":
        columns["quality_percent"] = _stepped(percent, 20.0).tolist()
    elif sensors.quality == "cn":
        # C/N in the Nyquist bandwidth, the symbol rate: noise of the roll-off is left out of both.
        columns["cn_db"] = _stepped(shown, sensors.resolution_db).tolist()
    else:
        columns["esno_db"] = _stepped(shown, sensors.resolution_db).tolist()
        columns["rx_level_dbm"] = _stepped(_rx_level_dbm(day, ticks, rng), 0.5).tolist()
        # A modem changes its MODCOD with half a dB in hand, on a level smoothed over half a minute.
        level = np.convolve(day.down_esno_db, np.ones(30) / 30.0, mode="full")[: len(day.unix_s)]
        rung = np.searchsorted(needed, level[ticks.index] - 0.5, side="right") - 1
        columns["modcod"] = [
            rungs[max(i, 0)].name if ok else None for i, ok in zip(rung, locked, strict=True)
        ]
    return columns


def _rx_level_dbm(day: PhysicalDay, ticks: Ticks, rng: np.random.Generator) -> FloatArray:
    """Carrier and noise together: the sun and the rain add noise where a mis-pointed dish does not."""
    rain_db = day.truth.rain_db[ticks.index]
    carrier = 10.0 ** (-(day.pointing_db + day.truth.blocked_db)[ticks.index] / 10.0 - rain_db / 10.0)
    hotter = 10.0 ** (day.sun_db[ticks.index] / 10.0)
    hotter = hotter + RAIN_TEMPERATURE_K * (1.0 - 10.0 ** (-rain_db / 10.0)) / day.link.system_k
    noise = 10.0 ** (-day.link.down_esno_db / 10.0) * hotter
    level = RX_LEVEL_CLEAR_DBM + 10.0 * np.log10(carrier + noise)
    return np.asarray(np.maximum(level + 0.1 * rng.standard_normal(len(level)), -90.0))


def power_of(day: PhysicalDay, slow: Ticks, rng: np.random.Generator) -> list[AnyReading]:
    """Source, voltage and battery."""
    readings: list[AnyReading] = []
    for index, unix_s in zip(slow.index[::POWER_EVERY], slow.unix_s[::POWER_EVERY].tolist(), strict=True):
        battery = float(np.round(day.truth.battery_percent[index]))
        generator = day.truth.on_generator[index] > 0.0
        if battery <= 0.0:
            continue
        volts = 230.0 + 1.5 * rng.standard_normal() if generator else 226.0 + 4.0 * battery / 100.0
        readings.append(
            Power(
                unix_s=unix_s,
                source="generator" if generator else "battery",
                voltage_v=round(float(volts), 1),
                battery_percent=battery,
                runtime_s=None if generator else round(battery / 100.0 * 5400.0),
            )
        )
    return readings


def weather_readings(
    day: PhysicalDay, slow: Ticks, sensors: Sensors, rng: np.random.Generator
) -> list[AnyReading]:
    """A small station beside the van; the rain gauge sees what fell over the last minute."""
    index = slow.index[::WEATHER_EVERY]
    gust = day.sky.gust_m_s + day.truth.gust_m_s
    # A station keeps the highest gust until it is asked again.
    starts = np.concatenate(([0], index[:-1] + 1)) if len(index) else index
    highest = [float(gust[a : b + 1].max()) for a, b in zip(starts, index, strict=True)]
    shine = day.sky.direct_w_m2 * np.sin(np.radians(np.maximum(day.sky.sun_elevation_deg, 0.0)))
    columns = {
        "air_degc": day.sky.air_degc[index] + 0.1 * rng.standard_normal(len(index)),
        "rain_mm_h": _last_minute(day.truth.rain_mm_h)[index],
        "wind_m_s": day.sky.wind_m_s[index],
        "gust_m_s": np.array(highest),
        "humidity_percent": np.round(day.sky.humidity_percent[index]),
        "irradiance_w_m2": np.round(shine + day.sky.diffuse_w_m2)[index],
    }
    if not sensors.rain_gauge:
        del columns["rain_mm_h"]
    rows = zip(*(np.round(values, 1).tolist() for values in columns.values()), strict=True)
    return [
        Weather(unix_s=unix_s, **dict(zip(columns, row, strict=True)))
        for unix_s, row in zip(slow.unix_s[::WEATHER_EVERY].tolist(), rows, strict=True)
    ]


def _last_minute(values: FloatArray) -> FloatArray:
    total = np.concatenate(([0.0], np.cumsum(values)))
    ends = np.arange(1, len(values) + 1)
    starts = np.maximum(ends - 60, 0)
    # Differences of running sums leave crumbs of rounding where nothing fell.
    return np.asarray(np.maximum((total[ends] - total[starts]) / (ends - starts), 0.0))


def temperature_of(
    scenario: Scenario, day: PhysicalDay, slow: Ticks, rng: np.random.Generator
) -> list[AnyReading]:
    """Thermometers on the transmitter, in the modem and in the shade, in this order at each tick."""
    count = len(slow.index)
    case = day.heat.transmitter_degc[slow.index] + 0.08 * rng.standard_normal(count)
    columns = {
        "transmitter": _stuck(_stepped(case, 0.1), scenario, slow, "transmitter"),
        "modem": _stepped(day.heat.modem_degc[slow.index] + 0.05 * rng.standard_normal(count), 0.5),
        "ambient": _stepped(day.sky.air_degc[slow.index] + 0.1 * rng.standard_normal(count), 0.1),
    }
    return [
        Temperature(unix_s=unix_s, where=where, temperature_degc=values[number])
        for number, unix_s in enumerate(slow.unix_s.tolist())
        for where, values in ((name, column.tolist()) for name, column in columns.items())
    ]
