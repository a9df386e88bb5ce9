"""The plan page's figures, from the link plan. Pure."""

from collections.abc import Sequence
from zoneinfo import ZoneInfo

import numpy as np
import plotly.graph_objects as go

from agent.job import Job
from agent.link_plan import AvailabilityCurve, Budget, HeatOutlook, LinkPlan
from agent.plan.constants import BOLTZMANN_DBW_HZ_K
from dashboard import words
from dashboard.figures.trends import PATTERNS, LineStyle
from dashboard.site_time import clock_text
from dashboard.theme import FONT_STACK, Theme

_HEIGHT_PX = 300
_HOUR_S = 3600.0


def budget_figure(budget: Budget, theme: Theme) -> go.Figure:
    """The budget in clear sky from EIRP to C/N0, line by line (dB)."""
    steps = [
        -budget.free_space_loss_db,
        -budget.pointing_loss_db,
        -budget.polarisation_loss_db,
        -budget.gas_clear_db,
        budget.gt_dbk,
        -BOLTZMANN_DBW_HZ_K,
    ]
    return _waterfall(words.BUDGET_BARS, [budget.eirp_dbw, *steps, budget.cn0_dbhz], theme)


def fade_figure(budget: Budget, theme: Theme) -> go.Figure:
    """What stands between Es/N0 in clear sky and at the availability, part by part (dB).

    The parts do not simply add up (ITU-R P.618 combines them, and rain also raises the noise); the last bar
    before the sum is that difference.
    """
    parts = [-budget.rain_db, -budget.cloud_db, -budget.scintillation_db]
    rest = budget.esno_faded_db - budget.esno_clear_db - sum(parts)
    return _waterfall(words.FADE_BARS, [budget.esno_clear_db, *parts, rest, budget.esno_faded_db], theme)


def _waterfall(names: Sequence[str], values_db: Sequence[float], theme: Theme) -> go.Figure:
    """From the first value over changes to the last, which is their sum."""
    figure = go.Figure(layout=_layout(theme))
    figure.add_trace(
        go.Waterfall(
            x=list(names),
            y=list(values_db),
            measure=["absolute", *["relative"] * (len(values_db) - 2), "total"],
            texttemplate="%{y:.1f}",
            textposition="outside",
            cliponaxis=False,
            connector={"line": {"color": theme.quiet_ink, "width": 1}},
            increasing={"marker": {"color": theme.reference}},
            decreasing={"marker": {"color": theme.limit}},
            totals={"marker": {"color": theme.measured}},
        )
    )
    figure.update_xaxes(automargin=True)
    return figure.update_yaxes(title="dB")


def rate_figure(curve: AvailabilityCurve, job: Job, theme: Theme) -> go.Figure:
    """Rates of both directions over the share of time they are not reached, with what was booked."""
    missed_percent = 100.0 - np.array(curve.availability_percent)
    figure = go.Figure(layout=_layout(theme))
    lines: tuple[tuple[str, tuple[float, ...], LineStyle], ...] = (
        (words.UP, curve.up_mbps, "measured"),
        (words.DOWN, curve.down_mbps, "second"),
        (words.BOOKED_UP, (job.service.up_mbps,) * len(missed_percent), "plan"),
        (words.STREAM, (job.service.stream_mbps,) * len(missed_percent), "limit"),
    )
    for name, rates_mbps, style in lines:
        dash, width_px = PATTERNS[style]
        line = {"color": getattr(theme, style), "dash": dash, "width": width_px, "shape": "hv"}
        figure.add_trace(go.Scatter(x=missed_percent, y=rates_mbps, name=name, mode="lines", line=line))
    ticks = [10.0, 1.0, 0.1, 0.01]
    figure.update_xaxes(
        type="log",
        autorange="reversed",
        tickvals=ticks,
        ticktext=[f"{100.0 - missed:g} %" for missed in ticks],
        title=words.AVAILABILITY,
    )
    return figure.update_yaxes(title="Mbit/s", rangemode="tozero")


def sun_hours_figure(heat: HeatOutlook, zone: ZoneInfo, theme: Theme) -> go.Figure:
    """Minutes of sunshine in each hour of the job, under a clear and under a half-clouded sky."""
    hours = [clock_text(hour.start_unix_s, zone) for hour in heat.hours]
    figure = go.Figure(layout=_layout(theme))
    for name, minutes, colour, pattern in (
        (words.CLEAR_SKY, [hour.clear_sunshine_min for hour in heat.hours], theme.reference, ""),
        (words.HALF_CLOUDY, [hour.half_cloudy_sunshine_min for hour in heat.hours], theme.plan, "/"),
    ):
        marker = {"color": colour, "pattern": {"shape": pattern}}
        figure.add_trace(go.Bar(x=hours, y=minutes, name=name, marker=marker))
    figure.update_xaxes(type="category")
    return figure.update_yaxes(title="min", range=[0, 62])


def sun_path_figure(plan: LinkPlan, zone: ZoneInfo, theme: Theme) -> go.Figure:
    """Where the sun stands over the day, against where the dish points."""
    path = plan.heat.sun_path
    azimuth_deg = np.array(path.azimuth_deg)
    elevation_deg = np.array(path.elevation_deg)
    up = elevation_deg > 0.0
    unix_s = path.start_unix_s + path.step_s * np.arange(len(azimuth_deg))
    on_hour = up & (np.abs(unix_s / _HOUR_S - np.round(unix_s / _HOUR_S)) * _HOUR_S < path.step_s / 2.0)
    figure = go.Figure(layout=_layout(theme))
    figure.add_trace(
        go.Scatter(
            x=azimuth_deg[up],
            y=elevation_deg[up],
            mode="lines",
            name=words.SUN,
            line={"color": theme.reference, "width": 3},
        )
    )
    figure.add_trace(
        go.Scatter(
            x=azimuth_deg[on_hour],
            y=elevation_deg[on_hour],
            mode="markers+text",
            text=[clock_text(hour_unix_s, zone) for hour_unix_s in unix_s[on_hour]],
            textposition="top center",
            marker={"color": theme.reference, "size": 7},
            showlegend=False,
        )
    )
    figure.add_trace(
        go.Scatter(
            x=[plan.pointing.azimuth_true_deg],
            y=[plan.pointing.elevation_deg],
            mode="markers",
            name=words.DISH,
            marker={"symbol": "cross", "size": 16, "color": theme.measured},
        )
    )
    figure.update_xaxes(title=words.AZIMUTH_AXIS)
    top_deg = float(elevation_deg.max(initial=0.0)) + 12.0
    return figure.update_yaxes(title=words.ELEVATION_AXIS, range=[0.0, top_deg])


def _layout(theme: Theme) -> go.Layout:
    axis = {"color": theme.quiet_ink, "gridcolor": theme.rule, "gridwidth": 0.5, "fixedrange": True}
    return go.Layout(
        template="none",
        height=_HEIGHT_PX,
        margin={"l": 52, "r": 12, "t": 30, "b": 48},
        paper_bgcolor="rgba(0,0,0,0)",
        plot_bgcolor="rgba(0,0,0,0)",
        font={"family": FONT_STACK, "color": theme.ink, "size": 14},
        legend={"orientation": "h", "y": 1.14, "x": 0.0},
        xaxis=axis,
        yaxis=axis,
        dragmode=False,
    )
