"""What the day page shows of one terminal over one window, in one state of the store."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
from tsdownsample import MinMaxLTTBDownsampler

from agent.job import Job
from agent.link_plan import SunPass
from agent.records import AlertEvent
from agent.store.questions import Connection
from dashboard import queries
from dashboard.page_data import windows
from dashboard.page_data.terminal import asked_terminal, site_zone, terminal_of
from dashboard.queries import Channel, Series
from dashboard.settings import Settings

# A line has no more points than a wide screen has pixels for it.
POINTS = 600
# Up to this span the readings themselves are read, beyond it the one-minute roll-ups.
READINGS_UP_TO_S = 7200.0
MINUTE_S = 60.0

ESNO = Channel(kind="signal", field="esno_db")
CARRIER_TO_NOISE = Channel(kind="signal", field="cn_db")
QUALITY = Channel(kind="signal", field="quality_percent")
TRANSMITTER = Channel(kind="temperature", field="temperature_degc", place="transmitter")
MODEM = Channel(kind="temperature", field="temperature_degc", place="modem")
AIR = Channel(kind="temperature", field="temperature_degc", place="ambient")
BATTERY = Channel(kind="power", field="battery_percent")
RAIN = Channel(kind="weather", field="rain_mm_h")
CHANNELS = (ESNO, CARRIER_TO_NOISE, QUALITY, TRANSMITTER, MODEM, AIR, BATTERY, RAIN)


@dataclass(frozen=True, slots=True, kw_only=True)
class DayData:
    """All that one drawing of the day page needs."""

    terminal: str
    window: windows.Window
    job: Job | None
    sun_passes: tuple[SunPass, ...]
    series: Mapping[Channel, Series]
    history: queries.History
    notes: tuple[queries.NoteRow, ...]
    events: tuple[AlertEvent, ...]

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return site_zone(self.job)


def day_window(settings: Settings, search: str | None, span: str) -> windows.Window | None:
    """The window of a span for the terminal asked for; None as long as it has no situation."""
    with queries.open_store(settings.store) as connection:
        current = terminal_of(connection, settings, asked_terminal(search))
        if current is None:
            return None
        job = queries.job(connection, current.terminal)
        return windows.chosen(span, current.situation.unix_s, job)


def day_zone(settings: Settings, search: str | None) -> ZoneInfo:
    """The site's time zone of the terminal asked for."""
    with queries.open_store(settings.store) as connection:
        current = terminal_of(connection, settings, asked_terminal(search))
        return site_zone(None if current is None else queries.job(connection, current.terminal))


def day_data(settings: Settings, search: str | None, window: windows.Window | None) -> DayData | None:
    """What the store knows of the window; None without one, as long as the terminal has no situation."""
    with queries.open_store(settings.store) as connection:
        current = terminal_of(connection, settings, asked_terminal(search))
        if current is None or window is None:
            return None
        terminal = current.terminal
        plan = queries.plan(connection, terminal)
        every = max(1, math.ceil((window[1] - window[0]) / MINUTE_S / POINTS))
        return DayData(
            terminal=terminal,
            window=window,
            job=queries.job(connection, terminal),
            sun_passes=() if plan is None else plan.sun_passes,
            series={channel: _series(connection, terminal, channel, window, every) for channel in CHANNELS},
            history=queries.history(connection, terminal, window[0], window[1], every),
            notes=tuple(one for one in queries.notes(connection, terminal, *window) if not one.taken_back),
            events=queries.events(connection, terminal, *window),
        )


def _series(
    connection: Connection, terminal: str, channel: Channel, window: windows.Window, every: int
) -> Series:
    if window[1] - window[0] <= READINGS_UP_TO_S:
        return thinned(queries.readings(connection, terminal, channel, *window))
    return queries.minutes(connection, terminal, channel, window, every * MINUTE_S)


def thinned(series: Series) -> Series:
    """The readings that keep the look of the line (largest triangles after a choice of extremes)."""
    if len(series.unix_s) <= POINTS:
        return series
    make: Callable[[], MinMaxLTTBDownsampler] = MinMaxLTTBDownsampler
    kept = make().downsample(series.unix_s, series.middle, n_out=POINTS)
    return Series(
        unix_s=np.asarray(series.unix_s[kept]),
        middle=np.asarray(series.middle[kept]),
        low=np.asarray(series.low[kept]),
        high=np.asarray(series.high[kept]),
    )
