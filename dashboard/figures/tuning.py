"""The tuning page's figures: alerts of one day side by side, recall against false alarms. Pure."""

from collections.abc import Sequence

import numpy as np
import plotly.graph_objects as go

from agent.replay.compare import Alert
from agent.replay.scoring import TARGETS
from agent.replay.tuning.choice import Figures
from dashboard import tuning_words
from dashboard.page_data.tuning import DayCompared, TuningData
from dashboard.site_time import local_ms
from dashboard.theme import FONT_STACK, Theme

_DAY_HEIGHT_PX = 150
_CURVE_HEIGHT_PX = 360
Span = tuple[float, float]


def day_figure(day: DayCompared, rule: str, theme: Theme) -> go.Figure:
    """When the labels say that it happened, and when the rule's alert stood before and after the change."""
    cause = TARGETS[rule].cause if rule in TARGETS else None
    labelled = [(one.start_unix_s, one.end_unix_s) for one in day.head.labels or () if one.cause == cause]
    rows: tuple[tuple[str, Sequence[Span], str], ...] = (
        (tuning_words.TUNE_TRIED, _spans(day.tried, rule, day), theme.measured),
        (tuning_words.TUNE_PRESENT, _spans(day.present, rule, day), theme.second),
        (tuning_words.TUNE_HAPPENED, labelled, theme.reference),
    )
    figure = go.Figure(layout=_layout(theme, _DAY_HEIGHT_PX))
    for name, spans, colour in rows:
        ends_ms = local_ms(np.array(spans, dtype=np.float64).reshape(-1, 2), day.head.zone)
        figure.add_trace(
            go.Bar(
                orientation="h",
                y=[name] * len(spans),
                base=ends_ms[:, 0],
                x=ends_ms[:, 1] - ends_ms[:, 0],
                marker={"color": colour},
            )
        )
    span_ms = local_ms(np.array([day.head.start_unix_s, day.head.end_unix_s]), day.head.zone)
    figure.update_xaxes(type="date", range=span_ms.tolist(), tickformat="%H:%M", nticks=6)
    names = [name for name, _spans, _colour in rows]
    return figure.update_yaxes(
        type="category", categoryarray=names, categoryorder="array", range=[-0.5, 2.5], showgrid=False
    )


def _spans(alerts: Sequence[Alert], rule: str, day: DayCompared) -> list[Span]:
    end_unix_s = day.head.end_unix_s
    return [
        (one.start_unix_s, end_unix_s if one.end_unix_s is None else one.end_unix_s)
        for one in alerts
        if one.rule == rule
    ]


def curve_points(sweep: Sequence[tuple[float, Figures]]) -> list[tuple[str, Figures]]:
    """The sweep with neighbouring values that come out the same as one point, such as "0.7 to 1.2"."""
    points: list[tuple[list[float], Figures]] = []
    for value, found in sweep:
        if points and _place(points[-1][1]) == _place(found):
            points[-1][0].append(value)
        else:
            points.append(([value], found))
    return [(_range_text(values), found) for values, found in points]


def _range_text(values: Sequence[float]) -> str:
    first, last = values[0], values[-1]
    return f"{first:g}" if first == last else tuning_words.TUNE_RANGE.format(first=first, last=last)


def _place(found: Figures) -> tuple[int, int]:
    return found.found, found.false_alarms


def curve_figure(data: TuningData, theme: Theme) -> go.Figure:
    """Recall (percent) against false alarms an hour over the swept number, with both rule sets marked."""
    points = curve_points(data.sweep)
    figure = go.Figure(layout=_layout(theme, _CURVE_HEIGHT_PX))
    figure.add_trace(
        go.Scatter(
            **_coordinates([found for _text, found in points]),
            mode="lines+markers+text",
            text=place_texts(points),
            textposition="top center",
            cliponaxis=False,
            name=tuning_words.TUNE_SWEPT,
            line={"color": theme.plan, "width": 2, "dash": "dot"},
            marker={"size": 9, "color": theme.plan},
        )
    )
    for name, found, symbol, colour in (
        (tuning_words.TUNE_PRESENT, data.present, "square-open", theme.second),
        (tuning_words.TUNE_TRIED, data.tried, "cross", theme.measured),
    ):
        marker = {"symbol": symbol, "size": 20, "color": colour, "line": {"width": 3, "color": colour}}
        figure.add_trace(go.Scatter(**_coordinates([found]), mode="markers", name=name, marker=marker))
    figure.update_layout(showlegend=True, legend={"orientation": "h", "y": 1.16, "x": 0.0})
    figure.update_xaxes(title=tuning_words.FALSE_ALARMS_AN_HOUR, rangemode="tozero")
    return figure.update_yaxes(title=tuning_words.RECALL_PERCENT, range=[-4, 112])


def place_texts(points: Sequence[tuple[str, Figures]]) -> list[str]:
    """What to write at each point: values that end up at one place stand together, at the first of them."""
    together: dict[tuple[int, int], list[str]] = {}
    for text, found in points:
        together.setdefault(_place(found), []).append(text)
    return [", ".join(together.pop(_place(found), ())) for _text, found in points]


def _coordinates(found: Sequence[Figures]) -> dict[str, list[float | None]]:
    return {
        "x": [one.false_alarms_per_hour for one in found],
        "y": [None if one.recall is None else 100.0 * one.recall for one in found],
    }


def _layout(theme: Theme, height_px: int) -> go.Layout:
    axis = {"color": theme.quiet_ink, "gridcolor": theme.rule, "gridwidth": 0.5, "fixedrange": True}
    return go.Layout(
        template="none",
        height=height_px,
        margin={"l": 84, "r": 16, "t": 26, "b": 44},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT_STACK, "color": theme.ink, "size": 14},
        showlegend=False,
        xaxis=axis,
        yaxis=axis,
        dragmode=False,
        barmode="overlay",
        bargap=0.35,
    )
