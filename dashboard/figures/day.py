"""The day's picture as HTML: panels over one time axis, alerts as bars through all of them. Pure.

A panel is an SVG that is stretched to the width there is; what is written stands around and upon it as
text of the page, so that it keeps its size on every screen and grows with the reader's.
"""

from collections.abc import Iterator, Mapping, Sequence
from html import escape

import numpy as np
from numpy.typing import NDArray

from agent.replay.labels import Label
from agent.report.charts import ticks
from dashboard import words
from dashboard.display_units import DisplayUnits
from dashboard.figures.panels import Course, Panel, Span, panels_of, shaded_spans
from dashboard.figures.trends import where_it_bends
from dashboard.page_data.day import DayData, Episode, episodes
from dashboard.queries import Series
from dashboard.site_time import clock_ticks

_CLOCK_TICKS = 6
_VALUE_TICKS = 4
# A panel's own coordinates, and the share of its height that a name takes, as the style sheet has it.
_WIDE, _HIGH = 1000.0, 100.0
_NAME_HIGH = 13.0
# Beyond these shares of the width there is no room for a name, or for half of a time.
_ROOM_UNTIL, _ALMOST_AT_THE_END = 33.0, 94.0


class Frame:
    """Where a panel's times and values lie, in shares of a hundred from the left and from the top."""

    def __init__(self, window: Span, low: float = 0.0, high: float = 1.0) -> None:
        self.window, self.low, self.high = window, low, high

    def x(self, unix_s: float) -> float:
        """From 0 at the start of the window to 100 at its end, not beyond."""
        return min(max(100.0 * (unix_s - self.window[0]) / (self.window[1] - self.window[0]), 0.0), 100.0)

    def y(self, value: float) -> float:
        """From 0 at the top of the scale to 100 at its foot."""
        return 100.0 * (self.high - value) / (self.high - self.low)


def day_picture(data: DayData, units: DisplayUnits) -> str:
    """All panels; those of which nothing is known, or that say one number, are sentences below."""
    panels = panels_of(data, units)
    drawn = [panel for panel in panels if panel.courses and not panel.says_one_number]
    told = [_sentence(panel, units) for panel in panels if panel not in drawn]
    behind = _behind(data)
    pictures = [_panel(panel, data, behind, units, number == 0) for number, panel in enumerate(drawn)]
    sentences = f'<ul class="told">{"".join(f"<li>{one}</li>" for one in told)}</ul>' if told else ""
    return "".join([*pictures, _clock(data), sentences])


def _sentence(panel: Panel, units: DisplayUnits) -> str:
    if not panel.courses:
        return escape(words.PANEL_EMPTY.format(title=panel.title))
    value = units.marked(f"{panel.courses[0].last[1]:.{panel.decimals}f}")
    return escape(words.PANEL_LEVEL.format(title=panel.title, value=value, unit=panel.unit))


def _panel(panel: Panel, data: DayData, behind: str, units: DisplayUnits, first: bool) -> str:
    frame = Frame(data.window, *_range(panel))
    round_values = ticks(frame.low, frame.high, _VALUE_TICKS)
    inside = [value for value in round_values if frame.low <= value <= frame.high]
    grid = "".join(f'<path class="rule" d="M0 {frame.y(value):.1f}h{_WIDE:g}"/>' for value in inside)
    lines = "".join(_course(frame, one) for one in panel.courses)
    written = [
        *(_value(frame, value, units) for value in inside),
        *_names(frame, panel, units),
        *([_shade_names(frame, data)] if first else []),
    ]
    said = f"{panel.title} ({panel.unit}): {'; '.join(_said(one, panel, units) for one in panel.courses)}"
    return (
        f'<figure class="panel"><figcaption>{escape(panel.title)} ({escape(panel.unit)})</figcaption>'
        f'<div class="plot" role="img" aria-label="{escape(said)}">'
        f'<svg viewBox="0 0 {_WIDE:g} {_HIGH:g}" preserveAspectRatio="none" aria-hidden="true">'
        f"{behind}{grid}{_fan(frame, panel)}{lines}</svg>{''.join(written)}</div></figure>"
    )


def _range(panel: Panel) -> Span:
    """From the lowest to the highest that is to be seen; a course of one level lies in the middle."""
    ends = [end(one.series) for one in panel.courses for end in (_lowest, _highest)]
    ends += [*panel.reach, *(value for _unix_s, value in panel.fan)]
    low, high = min(ends), max(ends)
    return (low, high) if high > low else (low - 0.5, high + 0.5)


def _lowest(series: Series) -> float:
    return float(np.nanmin(series.low))


def _highest(series: Series) -> float:
    return float(np.nanmax(series.high))


def _value(frame: Frame, value: float, units: DisplayUnits) -> str:
    text = units.marked(f"{value:.10g}".replace("-", "\u2212"))
    return f'<span class="value" style="top:{frame.y(value):.1f}%">{text}</span>'


def _said(course: Course, panel: Panel, units: DisplayUnits) -> str:
    return f"{course.name} {units.marked(f'{course.last[1]:.{panel.decimals}f}')}"


def _course(frame: Frame, course: Course) -> str:
    series = course.series
    x = [10.0 * frame.x(unix_s) for unix_s in series.unix_s.tolist()]
    band = "".join(_outline(frame, x, series)) if (series.low < series.high).any() else ""
    bends = where_it_bends(series.middle.astype(np.float32))
    line = _line(frame, np.array(x)[bends], series.middle[bends])
    return (f'<path class="band {course.style}" d="{band}"/>' if band else "") + (
        f'<path class="line {course.style}" d="{line}"/>'
    )


def _line(frame: Frame, x: NDArray[np.float64], values: NDArray[np.float64]) -> str:
    points: list[str] = []
    pen_down = False
    for place, value in zip(x.tolist(), values.tolist(), strict=True):
        if value == value:
            points.append(f"{'L' if pen_down else 'M'}{place:.0f} {frame.y(value):.1f}")
        pen_down = value == value
    return "".join(points)


def _outline(frame: Frame, x: Sequence[float], series: Series) -> Iterator[str]:
    """The band from lowest to highest, a closed piece between each two gaps."""
    whole = np.isfinite(series.middle)
    for piece in np.split(np.arange(len(whole)), np.flatnonzero(~whole)):
        there = piece[whole[piece]].tolist()
        if len(there) > 1:
            over = [f"{x[at]:.0f} {frame.y(series.high[at]):.1f}" for at in there]
            under = [f"{x[at]:.0f} {frame.y(series.low[at]):.1f}" for at in reversed(there)]
            yield f"M{'L'.join([*over, *under])}Z"


def _fan(frame: Frame, panel: Panel) -> str:
    if not panel.fan:
        return ""
    corners = " ".join(f"{10.0 * frame.x(unix_s):.0f},{frame.y(value):.1f}" for unix_s, value in panel.fan)
    return f'<polygon class="fan" points="{corners}"/>'


def _names(frame: Frame, panel: Panel, units: DisplayUnits) -> Iterator[str]:
    """Each course's name with its last value at its end, moved apart where they would touch."""
    ends = sorted(((frame.y(one.last[1]), one) for one in panel.courses), key=lambda end: end[0])
    for (_y, one), top in zip(ends, _apart([y - _NAME_HIGH for y, _one in ends]), strict=True):
        place = f"top:{top:.1f}%;{_beside(frame.x(one.last[0]))}"
        yield f'<span class="named {one.style}" style="{place}">{escape(_said(one, panel, units))}</span>'


def _apart(tops: Sequence[float]) -> list[float]:
    """The tops, in order, none nearer to another than a name is high, all within the panel where they fit."""
    placed: list[float] = []
    for top in tops:
        placed.append(max(top, placed[-1] + _NAME_HIGH if placed else 0.0))
    below = 100.0
    for number in range(len(placed) - 1, -1, -1):
        placed[number] = min(placed[number], below - _NAME_HIGH)
        below = placed[number]
    return placed


def _behind(data: DayData) -> str:
    """Through every panel: rain and sun passes, the alerts from raised to over, the ticks of the clock."""
    frame = Frame(data.window)
    shades = [_bar(frame, span, "shade") for span, _name in shaded_spans(data)]
    alerts = [
        _bar(frame, _span(one, data), f"alert-{one.severity}")
        for of_rule in episodes(data.events).values()
        for one in of_rule
    ]
    clock = [f"M{10.0 * frame.x(unix_s):.0f} 0v{_HIGH:g}" for unix_s, _text in _ticks(data)]
    return f'{"".join([*shades, *alerts])}<path class="rule" d="{"".join(clock)}"/>'


def _bar(frame: Frame, span: Span, kind: str) -> str:
    left, right = (10.0 * frame.x(unix_s) for unix_s in span)
    return f'<rect class="{kind}" x="{left:.0f}" width="{max(right - left, 2.0):.0f}" height="{_HIGH:g}"/>'


def _span(one: Episode, data: DayData) -> Span:
    end_unix_s = data.known_until_unix_s if one.end_unix_s is None else one.end_unix_s
    return one.start_unix_s, max(end_unix_s, one.start_unix_s)


def _shade_names(frame: Frame, data: DayData) -> str:
    """Each kind is named where it is first seen."""
    first: Mapping[str, Span] = {name: span for span, name in reversed(shaded_spans(data))}
    return "".join(
        f'<span class="named foot" style="{_beside(frame.x(span[0]))}">{escape(name)}</span>'
        for name, span in first.items()
    )


def _beside(x: float) -> str:
    """After this place, or at the right edge where there is no room after it."""
    return f"left:{x:.1f}%" if x < _ROOM_UNTIL else "right:0"


def _ticks(data: DayData) -> list[tuple[float, str]]:
    return clock_ticks(*data.window, data.zone, _CLOCK_TICKS)


def _clock(data: DayData) -> str:
    frame = Frame(data.window)
    notes = [f'<i style="left:{frame.x(note.unix_s):.1f}%"></i>' for note in data.notes]
    times = [_time(frame.x(unix_s), text) for unix_s, text in _ticks(data)]
    lane = f'<p class="told-lane"><b>{words.NOTES_TITLE}</b><span class="track">{"".join(notes)}</span></p>'
    labels = '<p class="told-lane" id="label-lane"></p>'
    clock = f'<div class="clock" aria-hidden="true">{"".join(times)}</div>'
    return f"{lane if notes else ''}{labels}{clock}"


def _time(x: float, text: str) -> str:
    """Under its tick, and not beyond the picture's right edge."""
    if x > _ALMOST_AT_THE_END:
        return f'<span class="time last" style="right:0">{text}</span>'
    return f'<span class="time" style="left:{x:.1f}%">{text}</span>'


def track(of_rule: Sequence[Episode], data: DayData) -> str:
    """The bars of one rule on the time axis."""
    frame = Frame(data.window)
    bars = [_piece(frame, _span(one, data), f"level-{one.severity}") for one in of_rule]
    return f'<span class="track">{"".join(bars)}</span>'


def label_track(labels: Sequence[Label], window: Span) -> str:
    """What really happened, on the time axis; empty where nothing of it lies in the window."""
    frame = Frame(window)
    bars = [
        _piece(frame, (one.start_unix_s, one.end_unix_s), "label")
        for one in labels
        if one.end_unix_s >= window[0] and one.start_unix_s <= window[1]
    ]
    return f'<b>{escape(words.LABELS_TITLE)}</b><span class="track">{"".join(bars)}</span>' if bars else ""


def _piece(frame: Frame, span: Span, kind: str) -> str:
    left, right = (frame.x(unix_s) for unix_s in span)
    return f'<i class="{kind}" style="left:{left:.1f}%;width:{right - left:.1f}%"></i>'
