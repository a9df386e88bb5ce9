"""How a viewer wants numbers written: the decimal mark of the locale, metric or imperial units. Pure.

Files, messages and rules keep their own units; only what is shown is converted.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo
from math import isnan
from typing import TypedDict, TypeVar

import numpy as np
import plotly.graph_objects as go
from flask import request
from numpy.typing import NDArray

from agent.wording import Reader
from dashboard import words

COOKIE = "units"
Number = TypeVar("Number", float, NDArray[np.float64])


class DisplayUnitsData(TypedDict):
    """As the browser keeps it."""

    imperial: bool
    mark: str


@dataclass(frozen=True, slots=True)
class _Unit:
    """An imperial unit: `value = metric * factor + offset`."""

    name: str
    factor: float
    offset: float = 0.0


# Exact by definition: the international yard and pound agreement of 1959; the Fahrenheit scale.
_IMPERIAL: Mapping[str, _Unit] = {
    "°C": _Unit("°F", 1.8, 32.0),
    "m": _Unit("ft", 1.0 / 0.3048),
    "km": _Unit("mi", 1.0 / 1.609344),
}
_POINT = re.compile(r"(?<=\d)\.(?=\d)")


@dataclass(frozen=True, slots=True)
class DisplayUnits:
    """`mark` stands between whole and parts."""

    imperial: bool = False
    mark: str = "."

    def unit(self, unit: str) -> str:
        """The unit that is shown where `unit` was measured."""
        return _IMPERIAL[unit].name if self.imperial and unit in _IMPERIAL else unit

    def value(self, value: Number, unit: str) -> Number:
        """The value in the unit that is shown; NaN stays NaN."""
        if not self.imperial or unit not in _IMPERIAL:
            return value
        return value * _IMPERIAL[unit].factor + _IMPERIAL[unit].offset

    def number(self, value: float | None, decimals: int, unit: str) -> str:
        """The number with its unit; a dash where there is none."""
        if value is None or isnan(value):
            return words.NO_NUMBER
        text = self.marked(f"{self.value(value, unit):.{decimals}f}")
        return text + (unit if unit == "°" else f" {self.unit(unit)}".rstrip())

    def marked(self, text: str) -> str:
        """The text with the viewer's decimal mark."""
        return _POINT.sub(self.mark, text)

    def reader(self, zone: tzinfo) -> Reader:
        """For the words of the engine and the plan."""
        return Reader(imperial=self.imperial, mark=self.mark, zone=zone)

    def dressed(self, figure: go.Figure) -> go.Figure:
        """The figure with the viewer's decimal mark."""
        return figure.update_layout(separators=self.mark + ("." if self.mark == "," else " "))


METRIC = DisplayUnits()


def display_units_of(data: DisplayUnitsData | None) -> DisplayUnits:
    """As the browser has it; metric with a point before it says anything."""
    return METRIC if data is None else DisplayUnits(imperial=data["imperial"], mark=data["mark"][:1] or ".")


def asked_units() -> DisplayUnits:
    """As the browser's cookie asks: `metric` or `imperial`, then the mark."""
    asked = request.cookies.get(COOKIE, "metric.")
    return DisplayUnits(imperial=asked.startswith("imperial"), mark="," if asked.endswith(",") else ".")
