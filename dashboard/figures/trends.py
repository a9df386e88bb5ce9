"""The small trends of the crew's page, drawn here as SVG, and what all lines over time share. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from agent.report import charts
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.queries import History
from dashboard.site_time import clock_text

LineStyle = Literal["measured", "second", "plan", "reference", "limit"]

# Line pattern and width in pixels tell the lines apart without colour.
PATTERNS: dict[LineStyle, tuple[str, float]] = {
    "measured": ("solid", 3.0),
    "second": ("solid", 1.5),
    "plan": ("dash", 2.0),
    "reference": ("dot", 2.0),
    "limit": ("dashdot", 2.0),
}
# Rows come each minute; a wider gap is shown as a gap and not bridged.
MINUTE_GAP_S = 150.0
_TREND_HEIGHT_PX = 150.0
_TICK_S = 1800.0
# What a crew looks at lies between a little above the reference and a deep fade.
ABOVE_REFERENCE, BELOW_REFERENCE = 1.0, 4.0
DASHES: Mapping[LineStyle, str] = {
    "measured": "",
    "second": "",
    "plan": "8 5",
    "reference": "2 4",
    "limit": "9 4 3 4",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One figure of the situation in a trend; `name` is what the crew reads."""

    key: str
    name: str
    style: LineStyle


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A small picture over time. The figure's value times `scale` is in `unit`."""

    name: str
    title: str
    unit: str
    decimals: int
    lines: tuple[Line, ...]
    scale: float = 1.0
    from_zero: bool = False


# A modem gives one of them. The plan speaks of Es/N0 alone, so it stands beside nothing else.
SIGNAL_TRENDS: Mapping[str, Trend] = {
    "esno_db": Trend(
        name="signal",
        title=words.SIGNAL_TITLE,
        unit="dB",
        decimals=1,
        lines=(
            Line(key="plan_esno_db", name=words.ESNO_PLANNED, style="plan"),
            Line(key="reference_db", name=words.REFERENCE, style="reference"),
            Line(key="esno_db", name=words.ESNO, style="measured"),
        ),
    ),
    "cn_db": Trend(
        name="signal",
        title=words.SIGNAL_TITLE,
        unit="dB",
        decimals=1,
        lines=(
            Line(key="reference_db", name=words.REFERENCE, style="reference"),
            Line(key="cn_db", name=words.CARRIER_TO_NOISE, style="measured"),
        ),
    ),
    "quality_percent": Trend(
        name="signal",
        title=words.SIGNAL_TITLE,
        unit="%",
        decimals=0,
        lines=(
            Line(key="reference_quality_percent", name=words.REFERENCE, style="reference"),
            Line(key="quality_percent", name=words.QUALITY, style="measured"),
        ),
    ),
}

TRENDS = (
    SIGNAL_TRENDS["esno_db"],
    Trend(
        name="rate",
        title=words.RATE_TITLE,
        unit="Mbit/s",
        decimals=1,
        from_zero=True,
        lines=(
            Line(key="plan_up_mbps", name=words.PLANNED_UP, style="plan"),
            Line(key="stream_mbps", name=words.STREAM, style="limit"),
            Line(key="down_mbps", name=words.DOWN, style="second"),
            Line(key="up_mbps", name=words.UP, style="measured"),
        ),
    ),
    Trend(
        name="heat",
        title=words.HEAT_TITLE,
        unit="°C",
        decimals=0,
        lines=(
            Line(key="transmitter_limit_degc", name=words.LIMIT, style="limit"),
            Line(key="modem_degc", name=words.MODEM, style="second"),
            Line(key="transmitter_degc", name=words.TRANSMITTER, style="measured"),
        ),
    ),
    Trend(
        name="sun",
        title=words.SUN_TITLE,
        unit="h",
        decimals=1,
        scale=1.0 / 3600.0,
        from_zero=True,
        lines=(
            Line(key="modem_exposure_s", name=words.MODEM, style="second"),
            Line(key="transmitter_exposure_s", name=words.TRANSMITTER, style="measured"),
        ),
    ),
)


def trends_of(figures: Mapping[str, float], history: History) -> tuple[Trend, ...]:
    """The trends with the signal as the modem gives it now, or gave it last."""
    known = [key for key in SIGNAL_TRENDS if key in figures]
    known += [key for key in SIGNAL_TRENDS if key in history.figures]
    return SIGNAL_TRENDS[known[0]] if known else TRENDS[0], *TRENDS[1:]


def trend_picture(
    trend: Trend,
    history: History,
    span_unix_s: tuple[float, float],
    zone: ZoneInfo,
    units: DisplayUnits = METRIC,
) -> str:
    """The lines of one trend over [start, end] as SVG, local time below; empty where nothing is known."""
    unix_s = with_gaps(history.unix_s, MINUTE_GAP_S)
    present = history.unix_s.searchsorted(unix_s)
    lines = []
    for line in trend.lines:
        if line.key in history.figures:
            values = units.value(history.figures[line.key] * trend.scale, trend.unit)
            lines.append(_line(line, unix_s, spread(values, present, unix_s)))
    room = _room(trend, history, span_unix_s[0]) if lines else []
    first_tick_s = span_unix_s[0] - span_unix_s[0] % -_TICK_S
    ticks_s = np.arange(first_tick_s, span_unix_s[1] + 1.0, _TICK_S).tolist()
    axis = charts.Axis(*span_unix_s, [(tick_s, clock_text(tick_s, zone)) for tick_s in ticks_s])
    return charts.line_chart(trend.title, axis, [*room, *lines], height=_TREND_HEIGHT_PX)


def _line(line: Line, unix_s: NDArray[np.float64], y: NDArray[np.float32]) -> charts.Line:
    bends = where_it_bends(y)
    pen = colour_of(line.style), DASHES[line.style]
    return charts.Line("", unix_s[bends].tolist(), y[bends].tolist(), *pen)


def colour_of(style: LineStyle) -> str:
    """The style's colour as the page's theme has it."""
    return f"var(--{style})"


def _room(trend: Trend, history: History, start_unix_s: float) -> list[charts.Line]:
    """Lies before the span and so is not drawn, but widens the scale to what must be seen in it."""
    if trend.from_zero:
        low_high = [0.0]
    elif trend.unit == "dB" and "reference_db" in history.figures:
        reference_db = history.figures["reference_db"]
        latest_db = reference_db[np.isfinite(reference_db)][-1:]
        low_high = [value for db in latest_db for value in (db - BELOW_REFERENCE, db + ABOVE_REFERENCE)]
    else:
        low_high = []
    return [charts.Line("", [start_unix_s - 1.0] * len(low_high), low_high, "none")] if low_high else []


def with_gaps(unix_s: NDArray[np.float64], gap_s: float) -> NDArray[np.float64]:
    """The sorted times with a NaN put into every gap wider than `gap_s`."""
    after = np.flatnonzero(np.diff(unix_s) > gap_s) + 1
    return np.insert(unix_s, after, np.nan)


def spread(
    values: NDArray[np.float64], present: NDArray[np.intp], unix_s: NDArray[np.float64]
) -> NDArray[np.float32]:
    """The values laid out along times with gaps; NaN in each gap. Single precision is plenty for a screen."""
    inside = np.minimum(present, max(len(values) - 1, 0))
    return np.where(np.isnan(unix_s), np.nan, values[inside]).astype(np.float32)


def where_it_bends(y: NDArray[np.float32]) -> NDArray[np.bool_]:
    """Without the points inside a level stretch the same line is drawn; NaN, the gap, always stays."""
    level = y[1:] == y[:-1]
    inside = np.zeros(y.shape, dtype=np.bool_)
    inside[1:-1] = level[:-1] & level[1:]
    return ~inside
