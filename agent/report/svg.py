"""The few SVG elements that the charts are made of, as text.

Attributes stand on every element, as PDF makers do not apply a page's style sheet inside of a picture.
"""

from dataclasses import dataclass
from html import escape

INK, QUIET, GRID, BAND = "#1b1b1b", "#55524d", "#d9d5cd", "#efe9db"
BLUE, RED, OCHRE, GREEN, VIOLET = "#1d4f7c", "#9c1f1f", "#b06a00", "#2f6b3a", "#6d3f7f"


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn; `dash` as in SVG's stroke-dasharray, empty for an unbroken line."""

    colour: str
    dash: str = ""
    width: float = 1.5


def stroke(start: tuple[float, float], end: tuple[float, float], pen: Pen) -> str:
    """A straight line."""
    return (
        f'<line x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" {_drawn(pen)}/>'
    )


def path(points: str, pen: Pen) -> str:
    """A line through points that are written as SVG path commands."""
    return f'<path d="{points}" fill="none" stroke-linejoin="round" {_drawn(pen)}/>'


def _drawn(pen: Pen) -> str:
    dash = f' stroke-dasharray="{pen.dash}"' if pen.dash else ""
    return f'stroke="{pen.colour}" stroke-width="{pen.width:g}"{dash}'


def rectangle(x: float, y: float, width: float, height: float, colour: str) -> str:
    """A filled rectangle."""
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{colour}"/>'


def text(x: float, y: float, words: str, anchor: str = "middle", colour: str = INK) -> str:
    """Words on a base line at `y`; `anchor` is start, middle or end."""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{colour}">{escape(words)}</text>'
