"""Figures from figures: what the queries found goes in, a plotly figure comes out. Pure."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray

from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.queries import History
from dashboard.site_time import local_ms
from dashboard.theme import FONT_STACK, Theme

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
_TREND_HEIGHT_PX = 130


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


def trend_figure(
    trend: Trend,
    history: History,
    span_unix_s: tuple[float, float],
    zone: ZoneInfo,
    theme: Theme,
    units: DisplayUnits = METRIC,
) -> go.Figure:
    """The lines of one trend over [start, end], local time below; lines that are not known are left out."""
    unix_s = with_gaps(history.unix_s, MINUTE_GAP_S)
    present = history.unix_s.searchsorted(unix_s)
    x_ms = local_ms(unix_s, zone)
    figure = go.Figure(layout=_trend_layout(trend, local_ms(np.array(span_unix_s), zone), theme))
    for line in trend.lines:
        if line.key not in history.figures:
            continue
        values = units.value(history.figures[line.key] * trend.scale, trend.unit)
        figure.add_trace(_trace(line, x_ms, spread(values, present, unix_s), theme))
    return units.dressed(figure)


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


def _trace(line: Line, x_ms: NDArray[np.float64], y: NDArray[np.float32], theme: Theme) -> go.Scatter:
    dash, width_px = PATTERNS[line.style]
    bends = where_it_bends(y)
    return go.Scatter(
        x=x_ms[bends],
        y=y[bends],
        name=line.name,
        mode="lines",
        line={"color": getattr(theme, line.style), "dash": dash, "width": width_px},
    )


def _trend_layout(trend: Trend, range_ms: NDArray[np.float64], theme: Theme) -> go.Layout:
    axis = {
        "color": theme.quiet_ink,
        "gridcolor": theme.rule,
        "gridwidth": 0.5,
        "zeroline": False,
        "fixedrange": True,
        "tickfont": {"size": 13},
    }
    return go.Layout(
        template="none",
        height=_TREND_HEIGHT_PX,
        margin={"l": 34, "r": 8, "t": 6, "b": 24},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT_STACK, "color": theme.ink},
        showlegend=False,
        xaxis=axis
        | {"type": "date", "range": range_ms.tolist(), "tickformat": "%H:%M", "nticks": 5, "showgrid": False},
        yaxis=axis | {"nticks": 4, "rangemode": "tozero" if trend.from_zero else "normal"},
    )
