"""The plan page's figures, from the link plan, as SVG. Pure."""

from zoneinfo import ZoneInfo

import numpy as np

from agent.job import Job
from agent.link_plan import AvailabilityCurve, Budget, HeatOutlook, LinkPlan
from agent.plan.horizon import first_day, skyline_deg
from agent.plan.losses import loss_steps
from agent.report import charts
from dashboard import words
from dashboard.figures.trends import DASHES, colour_of
from dashboard.site_time import clock_text

Steps = tuple[tuple[str, float], ...]

_HOUR_S = 3600.0
_CIRCLE_DEG = 360.0
# Half the size of the cross where the dish points.
_CROSS_DEG = (4.0, 2.0)


def budget_steps(budget: Budget, symbol_rate_msps: float) -> Steps:
    """Es/N0 from a perfect path over each loss that matters to the availability (dB); the last is the sum."""
    steps = loss_steps(budget, symbol_rate_msps)
    changes = [
        (name, after_db - before_db)
        for (_, before_db), (name, after_db) in zip(steps, steps[1:], strict=False)
    ]
    return (*steps[:1], *changes, *((words.LEFT_OVER, value_db) for _, value_db in steps[-1:]))


def fade_steps(budget: Budget) -> Steps:
    """What stands between Es/N0 in clear sky and at the availability, part by part (dB).

    The parts do not simply add up (ITU-R P.618 combines them, and rain also raises the noise); the last one
    before the sum is that difference.
    """
    parts_db = (-budget.rain_db, -budget.cloud_db, -budget.scintillation_db)
    rest_db = budget.esno_faded_db - budget.esno_clear_db - sum(parts_db)
    steps_db = (budget.esno_clear_db, *parts_db, rest_db, budget.esno_faded_db)
    return tuple(zip(words.FADE_STEPS, steps_db, strict=True))


def rate_picture(curve: AvailabilityCurve, job: Job) -> str:
    """Rates (Mbit/s) of both directions over the share of the year in which they are reached."""
    nines = -np.log10(100.0 - np.array(curve.availability_percent))
    order = np.argsort(nines)
    shown = nines[order]
    missed_percent = (10.0, 1.0, 0.1, 0.01)
    ticks = [
        (-np.log10(missed), f"{100.0 - missed:g} % ({count})")
        for missed, count in zip(missed_percent, words.NINES, strict=True)
    ]
    inside = [(float(place), word) for place, word in ticks if shown[0] <= place <= shown[-1]]
    axis = charts.Axis(float(shown[0]), float(shown[-1]), inside)
    lines = [
        charts.Line(
            name, np.repeat(shown, 2)[1:].tolist(), np.repeat(np.array(rates)[order], 2)[:-1].tolist(), *pen
        )
        for name, rates, pen in (
            (words.UP, curve.up_mbps, (colour_of("measured"), DASHES["measured"])),
            (words.DOWN, curve.down_mbps, (colour_of("second"), DASHES["limit"])),
        )
    ]
    levels = [
        charts.Level(words.BOOKED_UP, job.service.up_mbps, colour_of("plan"), DASHES["plan"]),
        charts.Level(words.STREAM, job.service.stream_mbps, colour_of("limit"), DASHES["reference"]),
        charts.Level("", 0.0, "none"),
    ]
    return charts.line_chart(words.RATES, axis, lines, levels)


def sun_hours_picture(heat: HeatOutlook, zone: ZoneInfo) -> str:
    """Minutes of sunshine in each hour of the job, under a half-clouded sky and what a clear one adds."""
    if not heat.hours:
        return ""
    starts_s = [hour.start_unix_s for hour in heat.hours]
    every = -(-len(starts_s) // 5)
    ticks = [(start_s, clock_text(start_s, zone)) for start_s in starts_s[::every]]
    half_min = [hour.half_cloudy_sunshine_min for hour in heat.hours]
    more_min = [hour.clear_sunshine_min - half for hour, half in zip(heat.hours, half_min, strict=True)]
    bars = [
        charts.Bars(words.HALF_CLOUDY, starts_s, _HOUR_S, half_min, colour_of("plan")),
        charts.Bars(words.CLEAR_SKY, starts_s, _HOUR_S, more_min, colour_of("reference")),
    ]
    return charts.bar_chart(words.SUN_MINUTES, charts.Axis(starts_s[0], starts_s[-1] + _HOUR_S, ticks), bars)


def sun_path_picture(plan: LinkPlan, zone: ZoneInfo) -> str:
    """Where the sun stands over the day, by the hour, against where the dish points."""
    path = first_day(plan.heat.sun_path)
    elevation_deg = np.array(path.elevation_deg)
    up = elevation_deg > 0.0
    if not up.any():
        return ""
    # At noon south of the sun's path the azimuth runs through north.
    azimuth_deg = np.unwrap(np.array(path.azimuth_deg)[up], period=_CIRCLE_DEG)
    unix_s = (path.start_unix_s + path.step_s * np.arange(len(up)))[up]
    on_hour = np.abs(unix_s / _HOUR_S - np.round(unix_s / _HOUR_S)) * _HOUR_S < path.step_s / 2.0
    hours = list(zip(azimuth_deg[on_hour].tolist(), unix_s[on_hour].tolist(), strict=True))[::3]
    middle_deg = float(azimuth_deg.mean())
    dish_deg = plan.pointing.azimuth_true_deg
    dish_deg += _CIRCLE_DEG * round((middle_deg - dish_deg) / _CIRCLE_DEG)
    height_deg = plan.pointing.elevation_deg
    wide, high = _CROSS_DEG
    cross = (
        ([dish_deg - wide, dish_deg + wide], [height_deg, height_deg]),
        ([dish_deg, dish_deg], [height_deg - high, height_deg + high]),
    )
    lines = [
        charts.Line(words.SUN, azimuth_deg.tolist(), elevation_deg[up].tolist(), colour_of("reference")),
        charts.Line(words.DISH, *cross[0], colour_of("measured")),
        charts.Line("", *cross[1], colour_of("measured")),
    ]
    if plan.horizon.obstructions:
        skyline = skyline_deg(plan.horizon.obstructions, plan.pointing.azimuth_true_deg, azimuth_deg)
        lines.append(charts.Line(words.SKYLINE, azimuth_deg.tolist(), skyline.tolist(), colour_of("limit")))
    ends_deg = sorted((*azimuth_deg.tolist(), dish_deg - wide, dish_deg + wide))
    ticks = [(place_deg, clock_text(hour_s, zone)) for place_deg, hour_s in sorted(hours)]
    levels = [charts.Level("", 0.0, "none")]
    return charts.line_chart(words.SUN_PATH, charts.Axis(ends_deg[0], ends_deg[-1], ticks), lines, levels)
