"""How a viewer wants numbers written: the decimal mark of the locale, metric or imperial units. Pure.

Files, messages and rules keep their own units; only what is shown is converted.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isnan
from typing import TypedDict, TypeVar

import numpy as np
import plotly.graph_objects as go
from flask import request
from numpy.typing import NDArray

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
_TEMPERATURE = re.compile(r"([+-]?\d+(?:\.\d+)?) °C( a minute)?")
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

    def sentence(self, text: str) -> str:
        """A sentence of the engine or of the plan, whose temperatures are in °C."""
        return self.marked(_TEMPERATURE.sub(_fahrenheit, text) if self.imperial else text)

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


def _fahrenheit(found: re.Match[str]) -> str:
    number, rate = found.groups()
    sign = "+" if number.startswith("+") else ""
    decimals = len(number.partition(".")[2])
    unit = _IMPERIAL["°C"]
    value = float(number) * unit.factor + (0.0 if rate else unit.offset)
    return f"{value:{sign}.{decimals}f} {unit.name}{rate or ''}"
