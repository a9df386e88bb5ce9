"""Drawings of the sheet, black on white: keep-out to scale, horizon, and the losses that matter. SVG text."""

from collections.abc import Callable, Sequence
from math import cos, radians, sin

import numpy as np

from agent.link_plan import Budget, LinkPlan, Safety
from agent.plan.day_ahead import SiteClock
from agent.plan.horizon import first_day, skyline_deg
from agent.plan.keep_out import HEAD_CLEARANCE_M
from agent.plan.losses import loss_steps
from agent.report.svg import GRID, INK, QUIET, Pen, path, rectangle, stroke, text

SKETCH_WIDTH, SKETCH_HEIGHT = 330.0, 150.0
HORIZON_WIDTH, HORIZON_HEIGHT = 690.0, 150.0
LOSSES_WIDTH, LOSSES_HEIGHT = 335.0, 120.0
SUN_EVERY_H = 2
LABEL_WIDTH = 136.0
HALF_SECTOR_DEG = 60.0  # what the horizon shows to each side of the aim, at least
SCALES_M = (1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0)
THIN, FIRM, DASHED = Pen(QUIET, width=0.8), Pen(INK, width=1.6), Pen(INK, dash="5 3", width=1.2)


def side_view(safety: Safety, elevation_deg: float, diameter_m: float) -> str:
    """The beam over level ground, to scale: keep-out, and from where people are below it."""
    reach_m = max(safety.keep_out_m, 10.0)
    along_m, up_m = reach_m * cos(radians(elevation_deg)), reach_m * sin(radians(elevation_deg))
    scale = min(
        (SKETCH_WIDTH - 60.0) / max(along_m, 8.0), (SKETCH_HEIGHT - 58.0) / max(up_m + diameter_m, 4.0)
    )
    ground = SKETCH_HEIGHT - 22.0

    def at(x_m: float, y_m: float) -> tuple[float, float]:
        return 24.0 + x_m * scale, ground - y_m * scale

    parts = [
        stroke((0.0, ground), (SKETCH_WIDTH, ground), FIRM),
        _beam(at, reach_m, elevation_deg, diameter_m),
    ]
    parts.append(_label(at(along_m, up_m), _keep_out_words(safety), SKETCH_WIDTH))
    clear_m = safety.clear_below_m
    if clear_m is not None and clear_m < safety.keep_out_m:
        parts += [
            stroke(at(clear_m, 0.0), at(clear_m, HEAD_CLEARANCE_M), DASHED),
            text(
                at(clear_m, 0.0)[0], ground + 14.0, f"under the beam from {clear_m:.0f} m on", anchor="start"
            ),
        ]
    parts.append(_scale_bar(scale))
    return _svg(SKETCH_WIDTH, SKETCH_HEIGHT, "Side view of the keep-out", parts)


def plan_view(safety: Safety, azimuth_deg: float, elevation_deg: float, diameter_m: float) -> str:
    """The beam from above, north up, to scale."""
    reach_m = max(safety.keep_out_m, 10.0) * cos(radians(elevation_deg))
    scale = (SKETCH_HEIGHT - 50.0) / max(reach_m, 4.0)
    right, up = sin(radians(azimuth_deg)), cos(radians(azimuth_deg))
    # The middle of the beam stands in the middle of the drawing.
    dish_x = SKETCH_WIDTH / 2.0 - right * reach_m * scale / 2.0
    dish_y = SKETCH_HEIGHT / 2.0 + up * reach_m * scale / 2.0

    def at(along_m: float, beside_m: float) -> tuple[float, float]:
        east_m, north_m = along_m * right + beside_m * up, along_m * up - beside_m * right
        return dish_x + east_m * scale, dish_y - north_m * scale

    half_m = diameter_m
    corners = (at(0.0, -half_m), at(reach_m, -half_m), at(reach_m, half_m), at(0.0, half_m))
    parts = [
        path("M" + " L".join(f"{x:.1f},{y:.1f}" for x, y in corners) + " Z", FIRM),
        stroke(at(0.0, -diameter_m / 2.0), at(0.0, diameter_m / 2.0), Pen(INK, width=3.0)),
        stroke((14.0, 34.0), (14.0, 14.0), FIRM),
        text(14.0, 11.0, "N"),
        text(
            SKETCH_WIDTH - 4.0,
            SKETCH_HEIGHT - 4.0,
            f"toward {azimuth_deg:.0f}°, {reach_m:.0f} m along the ground",
            "end",
        ),
        _scale_bar(scale),
    ]
    return _svg(SKETCH_WIDTH, SKETCH_HEIGHT, "The keep-out from above, north up", parts)


def _keep_out_words(safety: Safety) -> str:
    return f"keep out {safety.keep_out_m:.0f} m" if safety.keep_out_m > 0.0 else "keep the beam clear"


def _beam(
    at: Callable[[float, float], tuple[float, float]], reach_m: float, elevation_deg: float, diameter_m: float
) -> str:
    """One diameter to both sides of the axis, as far as the keep-out."""
    along, up = cos(radians(elevation_deg)), sin(radians(elevation_deg))
    corners = [(0.0, diameter_m), (reach_m, diameter_m), (reach_m, -diameter_m), (0.0, -diameter_m)]
    points = [
        at(far * along - off * up, max(0.0, diameter_m + far * up + off * along)) for far, off in corners
    ]
    return path("M" + " L".join(f"{x:.1f},{y:.1f}" for x, y in points) + " Z", FIRM)


def _label(place: tuple[float, float], words: str, width: float) -> str:
    x = min(max(place[0], 60.0), width - 80.0)
    return text(x, max(12.0, place[1] - 14.0), words)


def _scale_bar(scale: float) -> str:
    length_m = max(one for one in SCALES_M if one * scale <= 90.0 or one == SCALES_M[0])
    end = SKETCH_WIDTH - 8.0
    start = end - length_m * scale
    return stroke((start, 8.0), (end, 8.0), FIRM) + text((start + end) / 2.0, 20.0, f"{length_m:.0f} m")


def horizon_view(plan: LinkPlan, clock: SiteClock) -> str:
    """The satellite's place over the skyline, and the sun's path of the day over the dish's aim."""
    aim, sun = plan.pointing, first_day(plan.heat.sun_path)
    azimuth_deg, elevation_deg = np.array(sun.azimuth_deg), np.array(sun.elevation_deg)
    beside_deg = np.mod(azimuth_deg - aim.azimuth_true_deg + 180.0, 360.0) - 180.0
    up = elevation_deg > 0.0
    half_deg = max(HALF_SECTOR_DEG, float(np.max(np.abs(beside_deg[up]), initial=0.0)) + 5.0)
    top_deg = max(aim.elevation_deg, float(np.max(elevation_deg, initial=0.0)), 30.0) + 12.0
    ground = HORIZON_HEIGHT - 26.0

    def at(beside: float, height: float) -> tuple[float, float]:
        x = 30.0 + (HORIZON_WIDTH - 40.0) * (beside + half_deg) / (2.0 * half_deg)
        return x, ground - (ground - 10.0) * height / top_deg

    parts = _grid(at, aim.azimuth_true_deg, half_deg, top_deg)
    beside = np.linspace(-half_deg, half_deg, 181)
    line = skyline_deg(plan.horizon.obstructions, aim.azimuth_true_deg, aim.azimuth_true_deg + beside)
    parts.append(_polyline([at(*point) for point in zip(beside, line, strict=True)], Pen(INK, width=2.2)))
    steps = np.flatnonzero(up)
    parts.append(_polyline([at(beside_deg[one], elevation_deg[one]) for one in steps], DASHED))
    for one in steps:
        shown = clock.text(sun.start_unix_s + one * sun.step_s)[:5]
        if shown.endswith(":00") and int(shown[:2]) % SUN_EVERY_H == 0:
            x, y = at(beside_deg[one], elevation_deg[one])
            parts += [stroke((x, y - 3.0), (x, y + 3.0), FIRM), text(x, y + 14.0, shown, colour=QUIET)]
    x, y = at(0.0, aim.elevation_deg)
    parts += [stroke((x - 7, y), (x + 7, y), FIRM), stroke((x, y - 7), (x, y + 7), FIRM)]
    parts.append(text(x, y + 18.0, f"satellite {aim.elevation_deg:.0f}°"))
    return _svg(HORIZON_WIDTH, HORIZON_HEIGHT, "Satellite, skyline and the sun's path", parts)


def _grid(
    at: Callable[[float, float], tuple[float, float]], aim_deg: float, half_deg: float, top_deg: float
) -> list[str]:
    pen, parts = Pen(GRID, width=0.7), []
    for height in range(0, int(top_deg) + 1, 15):
        parts.append(stroke(at(-half_deg, height), at(half_deg, height), pen))
        parts.append(
            text(at(-half_deg, height)[0] - 4.0, at(0.0, height)[1] + 3.0, f"{height}", anchor="end")
        )
    first = int(np.ceil((aim_deg - half_deg) / 30.0)) * 30
    parts += [
        text(at(azimuth - aim_deg, 0.0)[0], HORIZON_HEIGHT - 10.0, f"{azimuth % 360}")
        for azimuth in range(first, int(aim_deg + half_deg) + 1, 30)
    ]
    return parts


def losses_view(budget: Budget, name: str, symbol_rate_msps: float) -> str:
    """Es/N0 from what the carrier would have over a perfect path down to what the booked rate needs."""
    rows = loss_steps(budget, symbol_rate_msps)
    if not rows:
        return ""
    values = [value for _, value in rows]
    low, high = min(0.0, *values), max(values) * 1.02 + 0.5
    low = min(low, budget.required_esno_db) - 1.0
    row_height = (LOSSES_HEIGHT - 30.0) / len(rows)

    def x_of(value: float) -> float:
        return LABEL_WIDTH + (LOSSES_WIDTH - LABEL_WIDTH - 78.0) * (value - low) / (high - low)

    parts = [text(4.0, 12.0, f"{name}: what takes Es/N0 (dB), axis from {low:.0f} dB", anchor="start")]
    before = values[0]
    for number, (label, value) in enumerate(rows):
        y = 20.0 + number * row_height
        parts.append(text(LABEL_WIDTH - 5.0, y + row_height * 0.65, label, anchor="end"))
        left, right = sorted((x_of(before if number else low), x_of(value)))
        parts.append(
            rectangle(left, y + 2.0, max(right - left, 1.0), row_height - 5.0, INK if number else QUIET)
        )
        change = f"{value:.1f}" if number == 0 else f"{value - before:+.1f} = {value:.1f}"
        parts.append(text(x_of(max(before, value)) + 4.0, y + row_height * 0.65, change, anchor="start"))
        before = value
    x = x_of(budget.required_esno_db)
    parts += [
        stroke((x, 18.0), (x, LOSSES_HEIGHT - 8.0), DASHED),
        text(x, LOSSES_HEIGHT, f"booked rate needs {budget.required_esno_db:.1f} dB"),
    ]
    return _svg(LOSSES_WIDTH, LOSSES_HEIGHT + 4.0, f"What takes Es/N0 on the {name}", parts)


def _polyline(points: Sequence[tuple[float, float]], pen: Pen) -> str:
    return path("M" + " L".join(f"{x:.1f},{y:.1f}" for x, y in points), pen) if points else ""


def _svg(width: float, height: float, label: str, parts: Sequence[str]) -> str:
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-label="{label}" width="{width:.0f}" '
        f'height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}" font-family="sans-serif" '
        'font-size="10">'
        f"{''.join(parts)}</svg>"
    )
