"""The day page's figure: signal, rates, temperatures, sunshine, battery and marks on one time axis. Pure."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go
from numpy.typing import NDArray
from plotly.subplots import make_subplots

from agent.replay.labels import Label
from dashboard import words
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.trends import PATTERNS, Line, LineStyle, spread, where_it_bends, with_gaps
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
from dashboard.queries import Channel, History, Series
from dashboard.site_time import local_ms
from dashboard.theme import FONT_STACK, Theme

# Rain under a tenth of a millimetre an hour is the noise of a gauge, not weather.
_RAIN_FROM_MM_H = 0.1
# Not a figure of the situation but made of two: what the level should be once sun and rain are allowed for.
EXPECTED_KEY = "expected_db"
_MARK_ROW = 6
_HEIGHT_PX = 980
_EVENT_SYMBOLS = {"raised": "square", "acknowledged": "square-open", "cleared": "line-ns-open"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A channel of readings drawn as a line; `banded` adds the band from lowest to highest."""

    channel: Channel
    name: str
    style: LineStyle
    banded: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One panel of the figure: measured channels over lines of the situation's history."""

    title: str
    unit: str
    measured: tuple[Measured, ...]
    lines: tuple[Line, ...]

    def heading(self, units: DisplayUnits) -> str:
        """The title with the unit that is shown."""
        return f"{self.title} ({units.unit(self.unit)})"


_EXPECTED = Line(key=EXPECTED_KEY, name=words.EXPECTED, style="second")
_REFERENCE = Line(key="reference_db", name=words.REFERENCE, style="reference")
# A modem gives one of them; the first that was measured is drawn.
SIGNAL_ROWS = (
    Row(
        title=words.SIGNAL_TITLE,
        unit="dB",
        measured=(Measured(channel=ESNO, name=words.ESNO, style="measured", banded=True),),
        lines=(Line(key="plan_esno_db", name=words.ESNO_PLANNED, style="plan"), _REFERENCE, _EXPECTED),
    ),
    Row(
        title=words.SIGNAL_TITLE,
        unit="dB",
        measured=(
            Measured(channel=CARRIER_TO_NOISE, name=words.CARRIER_TO_NOISE, style="measured", banded=True),
        ),
        lines=(_REFERENCE, _EXPECTED),
    ),
    Row(
        title=words.SIGNAL_TITLE,
        unit="%",
        measured=(Measured(channel=QUALITY, name=words.QUALITY, style="measured", banded=True),),
        lines=(Line(key="reference_quality_percent", name=words.REFERENCE, style="reference"),),
    ),
)
# Rates come from the situation: readings mix what the stream uses with tests of what the link can carry.
OTHER_ROWS = (
    Row(
        title=words.RATE_TITLE,
        unit="Mbit/s",
        measured=(),
        lines=(
            Line(key="plan_up_mbps", name=words.PLANNED_UP, style="plan"),
            Line(key="stream_mbps", name=words.STREAM, style="limit"),
            Line(key="down_mbps", name=words.DOWN, style="second"),
            Line(key="up_mbps", name=words.UP, style="measured"),
        ),
    ),
    Row(
        title=words.HEAT_TITLE,
        unit="°C",
        measured=(
            Measured(channel=TRANSMITTER, name=words.TRANSMITTER, style="measured"),
            Measured(channel=MODEM, name=words.MODEM, style="second"),
            Measured(channel=AIR, name=words.AIR, style="reference"),
        ),
        lines=(Line(key="transmitter_limit_degc", name=words.LIMIT, style="limit"),),
    ),
    Row(
        title=words.SUNSHINE_TITLE,
        unit="W/m²",
        measured=(),
        lines=(Line(key="sun_w_m2", name=words.SUNSHINE, style="measured"),),
    ),
    Row(
        title=words.BATTERY_TITLE,
        unit="%",
        measured=(Measured(channel=BATTERY, name=words.BATTERY, style="measured"),),
        lines=(),
    ),
)


def rows_of(data: DayData) -> tuple[Row, ...]:
    """The panels, with the signal as the modem gives it."""
    measured = [row for row in SIGNAL_ROWS if len(data.series[row.measured[0].channel].unix_s)]
    return measured[0] if measured else SIGNAL_ROWS[0], *OTHER_ROWS


def day_figure(
    data: DayData, theme: Theme, draggable: bool, labels: Sequence[Label] = (), units: DisplayUnits = METRIC
) -> go.Figure:
    """The figure of one window; `draggable` lets a mouse drag open a shorter one."""
    rows = rows_of(data)
    titles = [row.heading(units) for row in rows] + [words.MARKS_TITLE]
    figure = make_subplots(
        rows=_MARK_ROW,
        shared_xaxes=True,
        vertical_spacing=0.045,
        row_heights=[3.0, 2.4, 2.4, 1.5, 1.2, 1.3],
        subplot_titles=titles,
    )
    history = with_expected(data.history)
    for number, row in enumerate(rows, start=1):
        for trace in _row_traces(row, replace(data, history=history), theme):
            trace.y = units.value(trace.y, row.unit)
            figure.add_trace(trace, row=number, col=1)
    for trace in [*_label_traces(labels, data, theme), *_mark_traces(data, theme)]:
        figure.add_trace(trace, row=_MARK_ROW, col=1)
    _shade(figure, data, theme)
    _dress(figure, data, theme, draggable)
    return units.dressed(figure)


def empty_figure() -> go.Figure:
    """Before anything is known: the room that the figure will take, without axes."""
    hidden = {"visible": False}
    clear = "rgba(0,0,0,0)"
    layout = go.Layout(
        template="none",
        height=_HEIGHT_PX,
        paper_bgcolor=clear,
        plot_bgcolor=clear,
        xaxis=hidden,
        yaxis=hidden,
    )
    return go.Figure(layout=layout)


def with_expected(history: History) -> History:
    """The history with the expected Es/N0 or C/N (dB): measured plus what is missing without explanation."""
    figures = history.figures
    measured = [key for key in ("esno_db", "cn_db") if key in figures]
    if not measured or "unexplained_db" not in figures:
        return history
    expected = figures[measured[0]] + figures["unexplained_db"]
    return replace(history, figures={**figures, EXPECTED_KEY: expected})


def _row_traces(row: Row, data: DayData, theme: Theme) -> list[go.Scatter]:
    zone = data.zone
    traces = [_history_trace(line, data, theme) for line in row.lines if line.key in data.history.figures]
    for measured in row.measured:
        series = data.series[measured.channel]
        if len(series.unix_s):
            traces += _band(series, zone, theme) if measured.banded else []
            traces.append(_line(measured, series, zone, theme))
    return traces


def _history_trace(line: Line, data: DayData, theme: Theme) -> go.Scatter:
    x_ms = local_ms(data.history.unix_s, data.zone)
    return _stroke(x_ms, data.history.figures[line.key].astype(np.float32), line.name, line.style, theme)


def _line(measured: Measured, series: Series, zone: ZoneInfo, theme: Theme) -> go.Scatter:
    unix_s = with_gaps(series.unix_s, _gap_s(series))
    values = spread(series.middle, series.unix_s.searchsorted(unix_s), unix_s)
    return _stroke(local_ms(unix_s, zone), values, measured.name, measured.style, theme)


def _gap_s(series: Series) -> float:
    """What counts as a gap: well above the usual distance of the points, whatever rate the input has."""
    steps_s = np.diff(series.unix_s)
    return 5.0 * float(np.median(steps_s)) if len(steps_s) else 0.0


def _stroke(
    x_ms: NDArray[np.float64], y: NDArray[np.float32], name: str, style: LineStyle, theme: Theme
) -> go.Scatter:
    dash, width_px = PATTERNS[style]
    line = {"color": getattr(theme, style), "dash": dash, "width": width_px * 0.75}
    bends = where_it_bends(y)
    return go.Scatter(x=x_ms[bends], y=y[bends], name=name, mode="lines", line=line, hovertemplate="%{y:.2f}")


def _band(series: Series, zone: ZoneInfo, theme: Theme) -> list[go.Scatter]:
    if np.array_equal(series.low, series.high):
        return []
    outline_ms = local_ms(np.concatenate([series.unix_s, series.unix_s[::-1]]), zone)
    outline = np.concatenate([series.low, series.high[::-1]]).astype(np.float32)
    return [
        go.Scatter(
            x=outline_ms,
            y=outline,
            fill="toself",
            fillcolor=theme.band,
            line={"width": 0},
            mode="lines",
            hoverinfo="skip",
        )
    ]


def _mark_traces(data: DayData, theme: Theme) -> list[go.Scatter]:
    events = go.Scatter(
        x=local_ms(np.array([event.unix_s for event in data.events], dtype=np.float64), data.zone),
        y=[words.ALERTS] * len(data.events),
        mode="markers",
        marker={
            "symbol": [_EVENT_SYMBOLS[event.state] for event in data.events],
            "size": 14,
            "color": theme.limit,
            "line": {"width": 2, "color": theme.limit},
        },
        text=[words.change_text(event.rule, event.state) for event in data.events],
        customdata=list(range(len(data.events))),
        hovertemplate="%{text}<extra></extra>",
    )
    notes = go.Scatter(
        x=local_ms(np.array([note.unix_s for note in data.notes], dtype=np.float64), data.zone),
        y=[words.NOTES_TITLE] * len(data.notes),
        mode="markers",
        marker={"symbol": "diamond", "size": 12, "color": theme.measured},
        text=[words.NOTE_NAMES[note.kind] for note in data.notes],
        hovertemplate="%{text}<extra></extra>",
    )
    return [notes, events]


def _label_traces(labels: Sequence[Label], data: DayData, theme: Theme) -> list[go.Scatter]:
    ends = [(label.start_unix_s, label.end_unix_s, np.nan) for label in labels]
    return [
        go.Scatter(
            x=local_ms(np.array(ends, dtype=np.float64).reshape(-1), data.zone),
            y=[words.LABELS_TITLE] * 3 * len(labels),
            mode="lines",
            line={"color": theme.reference, "width": 12},
            text=[words.LABEL_CAUSES[label.cause] for label in labels for _end in range(3)],
            hovertemplate="%{text}<extra></extra>",
        )
    ]


def _shade(figure: go.Figure, data: DayData, theme: Theme) -> None:
    passes = [(sun_pass.start_unix_s, sun_pass.end_unix_s) for sun_pass in data.sun_passes]
    for spans, name in ((passes, words.SUN_PASS), (rain_spans(data.series[RAIN]), words.RAIN)):
        for span in spans:
            if span[1] < data.window[0] or span[0] > data.window[1]:
                continue
            start_ms, end_ms = local_ms(np.array(span), data.zone)
            figure.add_vrect(
                x0=start_ms,
                x1=end_ms,
                row=1,
                col=1,
                exclude_empty_subplots=False,
                fillcolor=theme.band,
                line={"width": 1, "dash": "dot", "color": theme.quiet_ink},
                annotation={"text": name, "font": {"size": 13, "color": theme.ink}},
                annotation_position="bottom left",
            )


def rain_spans(rain: Series) -> Sequence[tuple[float, float]]:
    """Start and end (Unix seconds) of each uninterrupted run of rain readings."""
    wet = np.concatenate([[False], rain.high >= _RAIN_FROM_MM_H, [False]])
    starts = np.flatnonzero(~wet[:-1] & wet[1:])
    ends = np.flatnonzero(wet[:-1] & ~wet[1:]) - 1
    return [(float(rain.unix_s[a]), float(rain.unix_s[b])) for a, b in zip(starts, ends, strict=True)]


def _dress(figure: go.Figure, data: DayData, theme: Theme, draggable: bool) -> None:
    axis = {"color": theme.quiet_ink, "gridcolor": theme.rule, "gridwidth": 0.5, "zeroline": False}
    figure.update_layout(
        template="none",
        height=_HEIGHT_PX,
        margin={"l": 52, "r": 10, "t": 26, "b": 48},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT_STACK, "color": theme.ink, "size": 14},
        showlegend=False,
        hovermode="x",
        hoverlabel={"bgcolor": theme.sheet, "font": {"color": theme.ink}},
        dragmode="zoom" if draggable else False,
    )
    range_ms = local_ms(np.array(data.window), data.zone).tolist()
    figure.update_xaxes(axis | {"type": "date", "range": range_ms, "fixedrange": not draggable})
    figure.update_yaxes(axis | {"nticks": 5, "fixedrange": True})
    for row in (2, 4, 5):
        figure.update_yaxes(rangemode="tozero", row=row, col=1)
    categories = [words.LABELS_TITLE, words.NOTES_TITLE, words.ALERTS]
    figure.update_yaxes(
        type="category", categoryarray=categories, range=[-0.6, 2.6], showgrid=False, row=_MARK_ROW, col=1
    )
    figure.update_annotations(font={"size": 14, "color": theme.ink})
    for title in figure.layout.annotations[:_MARK_ROW]:
        title.update(x=0.0, xanchor="left")
