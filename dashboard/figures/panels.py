"""What the day's panels show: signal, rates, temperatures, sunshine and battery over one time axis. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from dashboard import words
from dashboard.display_units import DisplayUnits
from dashboard.figures.trends import ABOVE_REFERENCE, BELOW_REFERENCE, LineStyle
from dashboard.page_data.day import (
    AIR,
    BATTERY,
    CARRIER_TO_NOISE,
    ESNO,
    MODEM,
    QUALITY,
    RAIN,
    TRANSMITTER,
    DayData,
)
from dashboard.queries import Channel, Series

# Rain under a tenth of a millimetre an hour is the noise of a gauge, not weather.
_RAIN_FROM_MM_H = 0.1
# Made of two figures of the situation: the level from which on the dish is to be peaked anew.
_THRESHOLD_KEY = "repeak_threshold_db"
# What is that much longer silent than usual is a gap, whatever rate the input has.
_GAP_STEPS = 5.0
# Alone they say nothing of what was.
_NOT_MEASURED: tuple[LineStyle, ...] = ("plan", "limit")
Span = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Where a line comes from: a channel of readings, or the key of a figure of the situation."""

    of: Channel | str
    name: str
    style: LineStyle


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One panel by what it draws, in this order: what is planned or allowed lies above what was measured."""

    title: str
    unit: str
    decimals: int
    sources: tuple[Source, ...]
    from_zero: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """One line over time in the unit that is shown, NaN in its gaps, between its lowest and highest."""

    name: str
    style: LineStyle
    series: Series

    @property
    def last(self) -> tuple[float, float]:
        """Where the line ends: time and value."""
        known = np.flatnonzero(np.isfinite(self.series.middle))
        return float(self.series.unix_s[known[-1]]), float(self.series.middle[known[-1]])


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One picture over time: its courses, the least range of its scale, and a forecast's corners."""

    title: str
    unit: str
    decimals: int
    courses: tuple[Course, ...]
    reach: tuple[float, ...] = ()
    fan: tuple[tuple[float, float], ...] = ()

    @property
    def says_one_number(self) -> bool:
        """A single level line, which a sentence says as well."""
        texts = {f"{value:.{self.decimals}f}" for one in self.courses for value in _ends(one.series)}
        return len(self.courses) == 1 and len(texts) == 1


def _ends(series: Series) -> Sequence[float]:
    return float(np.nanmin(series.low)), float(np.nanmax(series.high))


def _signal(of: Channel, name: str, key: str, plan: tuple[Source, ...], unit: str = "dB") -> Row:
    measured = Source(of=of, name=name, style="measured")
    reference = Source(of=key, name=words.REFERENCE_SHORT, style="reference")
    return Row(title=words.SIGNAL_TITLE, unit=unit, decimals=1, sources=(measured, *plan, reference))


_REPEAK = Source(of=_THRESHOLD_KEY, name=words.REPEAK_FROM, style="limit")
_PLANNED = Source(of="plan_esno_db", name=words.PLANNED, style="plan")
# A modem gives one of them; the first that was measured is drawn. The plan speaks of Es/N0 alone.
SIGNAL_ROWS = (
    _signal(ESNO, words.ESNO, "reference_db", (_PLANNED, _REPEAK)),
    _signal(CARRIER_TO_NOISE, words.CARRIER_TO_NOISE, "reference_db", (_REPEAK,)),
    _signal(QUALITY, words.QUALITY, "reference_quality_percent", (), "%"),
)
# Rates come from the situation, in which an old test is no rate any more; readings mix what the stream uses
# with tests of what the link can carry.
OTHER_ROWS = (
    Row(
        title=words.RATE_TITLE,
        unit="Mbit/s",
        decimals=1,
        from_zero=True,
        sources=(
            Source(of="down_mbps", name=words.DOWN, style="second"),
            Source(of="up_mbps", name=words.UP, style="measured"),
            Source(of="plan_up_mbps", name=words.PLANNED_UP, style="plan"),
            Source(of="stream_mbps", name=words.STREAM, style="limit"),
        ),
    ),
    Row(
        title=words.HEAT_TITLE,
        unit="°C",
        decimals=0,
        sources=(
            Source(of=AIR, name=words.AIR, style="reference"),
            Source(of=MODEM, name=words.MODEM, style="second"),
            Source(of=TRANSMITTER, name=words.TRANSMITTER, style="measured"),
            Source(of="transmitter_limit_degc", name=words.LIMIT, style="limit"),
        ),
    ),
    Row(
        title=words.SUNSHINE_TITLE,
        unit="W/m²",
        decimals=0,
        from_zero=True,
        sources=(Source(of="sun_w_m2", name=words.SUNSHINE, style="measured"),),
    ),
    Row(
        title=words.BATTERY_TITLE,
        unit="%",
        decimals=0,
        from_zero=True,
        sources=(Source(of=BATTERY, name=words.BATTERY, style="measured"),),
    ),
)


def panels_of(data: DayData, units: DisplayUnits) -> tuple[Panel, ...]:
    """The panels, with the signal as the modem gives it; without courses where nothing is known."""
    heard = [row for row in SIGNAL_ROWS if _known(row.sources[0], data) is not None]
    return tuple(_panel(row, data, units) for row in ((heard or SIGNAL_ROWS)[0], *OTHER_ROWS))


def _panel(row: Row, data: DayData, units: DisplayUnits) -> Panel:
    found = [(source, _known(source, data)) for source in row.sources]
    courses = [
        Course(name=one.name, style=one.style, series=_shown(series, row.unit, units))
        for one, series in found
        if series is not None
    ]
    fan = _fan(data) if row.title == words.HEAT_TITLE else ()
    return Panel(
        title=row.title,
        unit=units.unit(row.unit),
        decimals=row.decimals,
        courses=tuple(courses) if any(one.style not in _NOT_MEASURED for one in courses) else (),
        reach=(0.0,) if row.from_zero else _about_the_reference(row, data),
        fan=tuple((unix_s, units.value(value, row.unit)) for unix_s, value in fan),
    )


def _known(source: Source, data: DayData) -> Series | None:
    """What is known of it, None for nothing; a line ends where its figure does."""
    if isinstance(source.of, Channel):
        series = data.series[source.of]
    else:
        values = _figure(source.of, data)
        series = Series(unix_s=data.history.unix_s, middle=values, low=values, high=values)
    return with_gaps(series) if np.isfinite(series.middle).any() else None


def _figure(key: str, data: DayData) -> NDArray[np.float64]:
    figures: Mapping[str, NDArray[np.float64]] = data.history.figures
    if key == _THRESHOLD_KEY and "reference_db" in figures:
        return figures["reference_db"] - data.repeak_db
    return figures.get(key, np.full(data.history.unix_s.shape, np.nan))


def with_gaps(series: Series) -> Series:
    """The series with a NaN put where it is silent for much longer than usual."""
    steps_s = np.diff(series.unix_s)
    if not len(steps_s):
        return series
    after = np.flatnonzero(steps_s > _GAP_STEPS * np.median(steps_s)) + 1
    middle, low, high = (np.insert(one, after, np.nan) for one in (series.middle, series.low, series.high))
    return Series(
        unix_s=np.insert(series.unix_s, after, series.unix_s[after]), middle=middle, low=low, high=high
    )


def _shown(series: Series, unit: str, units: DisplayUnits) -> Series:
    middle, low, high = (units.value(one, unit) for one in (series.middle, series.low, series.high))
    return replace(series, middle=middle, low=low, high=high)


def _about_the_reference(row: Row, data: DayData) -> tuple[float, ...]:
    """What a crew looks at: from a deep fade to a little above the reference."""
    reference_db = _figure("reference_db", data)
    known = reference_db[np.isfinite(reference_db)]
    if row not in SIGNAL_ROWS[:2] or not len(known):
        return ()
    return float(known[-1]) - BELOW_REFERENCE, float(known[-1]) + ABOVE_REFERENCE


def _fan(data: DayData) -> tuple[tuple[float, float], ...]:
    """From the transmitter's temperature now to its limit, at the earliest and as it is planned for."""
    latest = {key: float(values[-1]) for key, values in data.history.figures.items()}
    keys = ("transmitter_degc", "transmitter_limit_degc", "transmitter_to_limit_early_s")
    if not all(np.isfinite(latest.get(key, np.nan)) for key in keys):
        return ()
    now_degc, limit_degc, early_s = (latest[key] for key in keys)
    now_unix_s = data.known_until_unix_s
    late_s = latest.get("transmitter_to_limit_s", np.nan)
    late_unix_s = now_unix_s + late_s if np.isfinite(late_s) else data.window[1]
    if now_degc >= limit_degc or late_unix_s <= now_unix_s:
        return ()
    return (now_unix_s, now_degc), (now_unix_s + early_s, limit_degc), (late_unix_s, limit_degc)


def shaded_spans(data: DayData) -> tuple[tuple[Span, str], ...]:
    """Sun passes and rain with their names, as far as they lie in the window."""
    passes = [((one.start_unix_s, one.end_unix_s), words.SUN_PASS) for one in data.sun_passes]
    rain = [(span, words.RAIN) for span in rain_spans(data.series[RAIN])]
    start_unix_s, end_unix_s = data.window
    return tuple(one for one in (*passes, *rain) if one[0][1] >= start_unix_s and one[0][0] <= end_unix_s)


def rain_spans(rain: Series) -> Sequence[Span]:
    """Start and end (Unix seconds) of each uninterrupted run of rain readings."""
    wet = np.concatenate([[False], rain.high >= _RAIN_FROM_MM_H, [False]])
    starts = np.flatnonzero(~wet[:-1] & wet[1:])
    ends = np.flatnonzero(wet[:-1] & ~wet[1:]) - 1
    return [(float(rain.unix_s[a]), float(rain.unix_s[b])) for a, b in zip(starts, ends, strict=True)]
