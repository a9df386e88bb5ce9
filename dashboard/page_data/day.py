"""What the day page shows of one terminal over one window, in one state of the store."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np

from agent.job import Job
from agent.link_plan import SunPass
from agent.records import AlertEvent, Severity
from agent.store.questions import Connection
from dashboard import queries, words
from dashboard.page_data import windows
from dashboard.page_data.terminal import site_zone, terminal_of
from dashboard.page_data.tuning import present_value
from dashboard.queries import Channel, Series
from dashboard.settings import Settings

# More points than this are not seen on a phone, and weigh.
POINTS = 300
# For a figure that is explored.
FINE_POINTS = 1500
# Up to this span the readings themselves are read, beyond it the one-minute roll-ups.
READINGS_UP_TO_S = 7200.0
MINUTE_S = 60.0
THRESHOLD = "repeak.raise_db"

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
    """All that one drawing of the day page needs; `repeak_db` is the threshold in force."""

    terminal: str
    window: windows.Window
    job: Job | None
    sun_passes: tuple[SunPass, ...]
    series: Mapping[Channel, Series]
    history: queries.History
    notes: tuple[queries.NoteRow, ...]
    events: tuple[AlertEvent, ...]
    repeak_db: float

    @property
    def zone(self) -> ZoneInfo:
        """The site's time zone."""
        return site_zone(self.job)

    @property
    def known_until_unix_s(self) -> float:
        """The last minute of the window of which anything is known; its start where nothing is."""
        return float(self.history.unix_s[-1]) if len(self.history.unix_s) else self.window[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Episode:
    """One alert from being raised until it is over (None: it stands), with all that was said of it."""

    events: tuple[AlertEvent, ...]
    end_unix_s: float | None

    @property
    def start_unix_s(self) -> float:
        """When it was raised, or said first of what is known."""
        return self.events[0].unix_s

    @property
    def severity(self) -> Severity:
        """The gravest."""
        return max((event.severity for event in self.events), key=list(words.LEVELS).index)


def episodes(events: Sequence[AlertEvent]) -> Mapping[str, tuple[Episode, ...]]:
    """The alerts of each rule, rules in the order in which they came; `events` in time order."""
    told: dict[str, list[list[AlertEvent]]] = {}
    for event in events:
        of_rule = told.setdefault(event.rule, [])
        if not of_rule or of_rule[-1][-1].state == "cleared":
            of_rule.append([])
        of_rule[-1].append(event)
    return {rule: tuple(map(_episode, of_rule)) for rule, of_rule in told.items()}


def _episode(events: Sequence[AlertEvent]) -> Episode:
    last = events[-1]
    return Episode(events=tuple(events), end_unix_s=last.unix_s if last.state == "cleared" else None)


def day_zone(settings: Settings, terminal: str | None) -> ZoneInfo:
    """The site's time zone of the terminal."""
    with queries.open_store(settings.store) as connection:
        return site_zone(None if terminal is None else queries.job(connection, terminal))


def day_data(
    settings: Settings, terminal: str | None, asked: windows.Asked, points: int = POINTS
) -> DayData | None:
    """What the store knows of the window; None as long as the terminal has no situation."""
    with queries.open_store(settings.store) as connection:
        current = terminal_of(connection, settings, terminal)
        if current is None:
            return None
        terminal = current.terminal
        plan, job = queries.plan(connection, terminal), queries.job(connection, terminal)
        window = windows.chosen(asked, current.situation.unix_s, job)
        every = max(1, math.ceil((window[1] - window[0]) / MINUTE_S / points))
        return DayData(
            terminal=terminal,
            window=window,
            job=job,
            sun_passes=() if plan is None else plan.sun_passes,
            series={one: _series(connection, terminal, one, window, points) for one in CHANNELS},
            history=queries.history(connection, terminal, window[0], window[1], every),
            notes=tuple(one for one in queries.notes(connection, terminal, *window) if not one.taken_back),
            events=queries.events(connection, terminal, *window),
            repeak_db=present_value(settings.rules, THRESHOLD),
        )


def _series(
    connection: Connection, terminal: str, channel: Channel, window: windows.Window, points: int
) -> Series:
    span_s = window[1] - window[0]
    if span_s <= READINGS_UP_TO_S:
        return banded(queries.readings(connection, terminal, channel, *window), span_s / points)
    step_s = MINUTE_S * math.ceil(span_s / MINUTE_S / points)
    return queries.minutes(connection, terminal, channel, window, step_s)


def banded(series: Series, step_s: float) -> Series:
    """Lowest, median and highest of the readings in each step of time in which there are any.

    A reading that is alone in its step keeps its time; more stand at their mean time.
    """
    if not len(series.unix_s):
        return series
    steps = np.floor(series.unix_s / step_s)
    groups = np.split(np.arange(len(steps)), np.flatnonzero(np.diff(steps)) + 1)
    starts = [group[0] for group in groups]
    counts = np.array([len(group) for group in groups])
    return Series(
        unix_s=np.add.reduceat(series.unix_s, starts) / counts,
        middle=np.array([np.median(series.middle[group]) for group in groups]),
        low=np.minimum.reduceat(series.low, starts),
        high=np.maximum.reduceat(series.high, starts),
    )
