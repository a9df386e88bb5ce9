"""The day's panels as a figure to explore: every value under the finger, a span dragged open. Pure."""

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go
from plotly.subplots import make_subplots

from dashboard.display_units import DisplayUnits
from dashboard.figures.panels import Course, Panel, panels_of
from dashboard.figures.trends import PATTERNS
from dashboard.page_data.day import DayData
from dashboard.site_time import local_ms
from dashboard.theme import FONT_STACK, Theme

_ROW_PX = 210
_HEIGHT_PX = 5 * _ROW_PX
_CLEAR = "rgba(0,0,0,0)"


def lines_figure(data: DayData, theme: Theme, units: DisplayUnits) -> go.Figure:
    """Each panel's lines, the lowest and highest where there is a band, over one axis of the site's time."""
    panels = [panel for panel in panels_of(data, units) if panel.courses]
    if not panels:
        return empty_figure()
    titles = [f"{panel.title} ({panel.unit})" for panel in panels]
    figure = make_subplots(rows=len(panels), shared_xaxes=True, vertical_spacing=0.04, subplot_titles=titles)
    for row, panel in enumerate(panels, start=1):
        for trace in _traces(panel, data, theme):
            figure.add_trace(trace, row=row, col=1)
    return units.dressed(_dressed(figure, data, theme))


def empty_figure() -> go.Figure:
    """Before anything is known: the room that the figure will take, without axes."""
    hidden = {"visible": False}
    return go.Figure(layout=_layout() | {"xaxis": hidden, "yaxis": hidden})


def _layout() -> dict[str, object]:
    return {"template": "none", "height": _HEIGHT_PX, "paper_bgcolor": _CLEAR, "plot_bgcolor": _CLEAR}


def _traces(panel: Panel, data: DayData, theme: Theme) -> list[go.Scatter]:
    return [trace for course in panel.courses for trace in _course(course, panel, data, theme)]


def _course(course: Course, panel: Panel, data: DayData, theme: Theme) -> Sequence[go.Scatter]:
    series = course.series
    x_ms = local_ms(series.unix_s, data.zone)
    dash, width_px = PATTERNS[course.style]
    pen = {"color": getattr(theme, course.style), "dash": dash, "width": width_px * 0.75}
    value = f"%{{y:.{panel.decimals + 1}f}}"
    line = go.Scatter(x=x_ms, y=series.middle, name=course.name, mode="lines", line=pen, hovertemplate=value)
    if not (series.low < series.high).any():
        return [line]
    edges = [
        go.Scatter(x=x_ms, y=edge, mode="lines", line={"width": 0.5, "color": pen["color"]}, hoverinfo="skip")
        for edge in (series.low, series.high)
    ]
    return [*edges, line]


def _dressed(figure: go.Figure, data: DayData, theme: Theme) -> go.Figure:
    axis = {"color": theme.quiet_ink, "gridcolor": theme.rule, "gridwidth": 0.5, "zeroline": False}
    figure.update_layout(
        **_layout(),
        margin={"l": 52, "r": 10, "t": 26, "b": 48},
        font={"family": FONT_STACK, "color": theme.ink, "size": 14},
        showlegend=False,
        hovermode="x",
        hoverlabel={"bgcolor": theme.sheet, "font": {"color": theme.ink}},
        dragmode="zoom",
    )
    figure.update_xaxes(axis | {"type": "date", "range": local_ms(np.array(data.window), data.zone).tolist()})
    figure.update_yaxes(axis | {"nticks": 5, "fixedrange": True})
    return figure.update_annotations(font={"size": 14, "color": theme.ink}, x=0.0, xanchor="left")
