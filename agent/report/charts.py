"""Charts as SVG text: lines, bars and a time table of alerts. No style sheet, no script, no font file.

Lines differ by dash as well as by colour, so that a grey print can be read.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, isfinite, log10

from agent.report.svg import BAND, GRID, INK, QUIET, Pen, path, rectangle, stroke, text

WIDTH = 420.0
LEFT, RIGHT, TOP, BOTTOM = 40.0, 8.0, 24.0, 22.0
FONT = 12.0
LETTER = 6.8  # mean width of a letter at this size, a little on the wide side
ROW = 26.0
RULE = Pen(GRID, width=0.8)
PLANNED_DASH, LIMIT_DASH = "1 2", "5 3"
LEGEND_BAR = "bar"


@dataclass(frozen=True, slots=True)
class Line:
    """A course; NaN breaks it."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    colour: str
    dash: str = ""


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line through the whole chart; none where `y` is NaN. Without a name it has no key."""

    name: str
    y: float
    colour: str
    dash: str = LIMIT_DASH


@dataclass(frozen=True, slots=True)
class Bars:
    """One series of bars, stacked on those before it; `start` and `width` on the x axis."""

    name: str
    start: Sequence[float]
    width: float
    height: Sequence[float]
    colour: str


@dataclass(frozen=True, slots=True)
class Strip:
    """A span of the x axis, with the word that stands in it (may be empty)."""

    start: float
    end: float
    word: str = ""
    colour: str = BAND


@dataclass(frozen=True, slots=True)
class Axis:
    """The x axis from `start` to `end`, with ticks where `ticks` says (place, word)."""

    start: float
    end: float
    ticks: Sequence[tuple[float, str]]


@dataclass(frozen=True, slots=True)
class Frame:
    """A plotting area: the ranges of both axes and the height of the whole picture."""

    axis: Axis
    low: float
    high: float
    height: float

    @property
    def base(self) -> float:
        """Where the plotting area ends below."""
        return self.height - BOTTOM

    def x(self, value: float) -> float:
        """Where this value of the x axis lies."""
        share = (value - self.axis.start) / (self.axis.end - self.axis.start)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Where this value of the y axis lies."""
        return self.base - (value - self.low) / (self.high - self.low) * (self.base - TOP)


def ticks(low: float, high: float, most: int = 5) -> tuple[float, ...]:
    """Round numbers in steps of 1, 2 or 5, from just outside `low` to just outside `high`, about `most`.

    A flat course has a scale of one about it.
    """
    rough = (high - low if high > low else 1.0) / most
    power = 10.0 ** floor(log10(rough))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= rough * (1.0 - 1e-9))
    first, last = floor(low / step + 1e-9), ceil(high / step - 1e-9)
    return tuple(step * index for index in range(first, max(last, first + 1) + 1))


def line_chart(
    title: str,
    axis: Axis,
    lines: Sequence[Line],
    levels: Sequence[Level] = (),
    strips: Sequence[Strip] = (),
    height: float = 190.0,
) -> str:
    """Courses over the x axis; empty text where no value is known."""
    values = [value for line in lines for value in line.y if isfinite(value)]
    if not values:
        return ""
    drawn = [level for level in levels if isfinite(level.y)]
    values += [level.y for level in drawn]
    scale = ticks(min(values), max(values))
    frame = Frame(axis, scale[0], scale[-1], height)
    known = [line for line in lines if any(map(isfinite, line.y))]
    keys = [(line.name, line.colour, line.dash) for line in known]
    keys += [(level.name, level.colour, level.dash) for level in drawn]
    return _picture(
        title,
        frame,
        [
            *(_strip(frame, strip) for strip in strips),
            *_grid(frame, scale),
            *(_level(frame, level) for level in drawn),
            *(_line(frame, line) for line in known),
            *_keys(keys),
        ],
    )


def bar_chart(title: str, axis: Axis, bars: Sequence[Bars], marks: Sequence[Strip] = ()) -> str:
    """Stacked bars; `marks` are upright lines at their start. Empty text where every bar is empty."""
    tops = [sum(column) for column in zip(*(series.height for series in bars), strict=True)]
    if not any(tops):
        return ""
    scale = ticks(0.0, max(tops))
    frame = Frame(axis, 0.0, scale[-1], 190.0)
    parts = _grid(frame, scale)
    bases = [0.0] * len(tops)
    for series in bars:
        for index, (start, value) in enumerate(zip(series.start, series.height, strict=True)):
            left, right = frame.x(start) + 0.5, frame.x(start + series.width) - 0.5
            top, base = frame.y(bases[index] + value), frame.y(bases[index])
            if value:
                parts.append(rectangle(left, top, max(0.5, right - left), base - top, series.colour))
            bases[index] += value
    parts += [_upright(frame, mark.start, Pen(mark.colour, LIMIT_DASH)) for mark in marks]
    keys = [(series.name, series.colour, LEGEND_BAR) for series in bars]
    marked = [(mark.word, mark.colour, LIMIT_DASH) for mark in marks]
    return _picture(title, frame, [*parts, *_keys([*keys, *marked])])


def time_table(
    title: str, axis: Axis, rows: Sequence[tuple[str, Sequence[Strip]]], keys: Sequence[tuple[str, str]]
) -> str:
    """One row a name, with the strips in which it stood, `keys` their colours; empty text without rows."""
    if not rows:
        return ""
    frame = Frame(axis, 0.0, 1.0, TOP + BOTTOM + ROW * len(rows))
    parts = _uprights(frame)
    for index, (name, strips) in enumerate(rows):
        top = TOP + ROW * index
        parts.append(text(LEFT, top + 11.0, name, "start"))
        for strip in strips:
            left, right = frame.x(strip.start), frame.x(strip.end)
            parts.append(rectangle(left, top + 14.0, max(2.0, right - left), 8.0, strip.colour))
    parts += _keys([(word, colour, LEGEND_BAR) for word, colour in keys])
    return _picture(title, frame, parts)


def _picture(title: str, frame: Frame, parts: Sequence[str]) -> str:
    words = [_tick(frame, place, word) for place, word in frame.axis.ticks]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH:g} {frame.height:g}" role="img"'
        f' aria-label="{escape(title)}" font-family="sans-serif" font-size="{FONT:g}" fill="{INK}">'
        f"{''.join([*parts, *words])}</svg>"
    )


def _tick(frame: Frame, place: float, word: str) -> str:
    """A word under the x axis, moved to the left where it would be cut off."""
    x = min(frame.x(place), WIDTH - 0.5 * LETTER * len(word))
    return text(x, frame.height - 6.0, word)


def _grid(frame: Frame, scale: Sequence[float]) -> list[str]:
    parts = _uprights(frame)
    for value in scale:
        y = frame.y(value)
        parts.append(stroke((LEFT, y), (WIDTH - RIGHT, y), RULE))
        parts.append(text(LEFT - 5.0, y + 4.0, f"{value:g}".replace("-", "\u2212"), "end"))
    return parts


def _uprights(frame: Frame) -> list[str]:
    return [_upright(frame, place, RULE) for place, _ in frame.axis.ticks]


def _upright(frame: Frame, place: float, pen: Pen) -> str:
    x = frame.x(place)
    return stroke((x, TOP), (x, frame.base), pen)


def _keys(keys: Sequence[tuple[str, str, str]]) -> list[str]:
    """What each colour and dash means, above the chart."""
    parts: list[str] = []
    x = LEFT
    for name, colour, dash in keys:
        if not name:
            continue
        if dash == LEGEND_BAR:
            parts.append(rectangle(x, 4.0, 14.0, 9.0, colour))
        else:
            parts.append(stroke((x, 9.0), (x + 16.0, 9.0), Pen(colour, dash, 2.0)))
        parts.append(text(x + 20.0, 13.0, name, "start"))
        x += 32.0 + LETTER * len(name)
    return parts


def _strip(frame: Frame, strip: Strip) -> str:
    left = max(frame.x(strip.start), LEFT)
    right = min(frame.x(strip.end), WIDTH - RIGHT)
    if right <= left:
        return ""
    area = rectangle(left, TOP, right - left, frame.base - TOP, strip.colour)
    fits = right - left > LETTER * len(strip.word)
    return area + (text(left + 3.0, frame.base - 4.0, strip.word, "start", QUIET) if fits else "")


def _level(frame: Frame, level: Level) -> str:
    y = frame.y(level.y)
    return stroke((LEFT, y), (WIDTH - RIGHT, y), Pen(level.colour, level.dash, 1.4))


def _line(frame: Frame, line: Line) -> str:
    points: list[str] = []
    pen_down = False
    for x, y in zip(line.x, line.y, strict=True):
        inside = isfinite(y) and frame.axis.start <= x <= frame.axis.end
        if inside:
            points.append(f"{'L' if pen_down else 'M'}{frame.x(x):.1f} {frame.y(y):.1f}")
        pen_down = inside
    return path("".join(points), Pen(line.colour, line.dash))
