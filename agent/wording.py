"""How numbers are written: spans, units and decimal mark by the reader's choice. Pure.

The unit of a figure is the suffix of its name, as everywhere in the code: `loss_db` is "1.6 dB", `limit_s`
"25 min", `air_degc` "31.0 °C" or "87.8 °F".
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, tzinfo
from math import floor, isfinite, log10
from string import Formatter

THREE_FIGURES = 3
# The one sentence about when a shade is needed, before the job and during it; and where none is.
SAFE_UNSHADED = "Safe unshaded until about {until_unix_s}; then shade"
SAFE_ALL_DAY = "Safe unshaded all day"


@dataclass(frozen=True, slots=True)
class Reader:
    """Who reads: units, the mark between whole and parts, and the zone of the clock that hangs there."""

    imperial: bool = False
    mark: str = "."
    zone: tzinfo = UTC

    def number(self, value: float, decimals: int, signed: bool = False) -> str:
        """A number with thousands set apart: "1,200", or "1 200" where the comma is the decimal mark."""
        text = f"{value:{'+' if signed else ''},.{decimals}f}"
        if float(text.replace(",", "")) == 0.0:
            text = text.lstrip("+-")
        if self.mark == ".":
            return text
        return text.replace(",", "\u00a0").replace(".", self.mark)

    def significant(self, value: float, figures: int) -> str:
        """A number to so many significant figures, written out: "1,200", never "1.2e+03"."""
        before = floor(log10(abs(value))) + 1 if value else 1
        rounded = round(value, figures - before)
        decimals = max(0, figures - before)
        while decimals and rounded == round(rounded, decimals - 1):
            decimals -= 1
        return self.number(rounded, decimals)

    def clock(self, unix_s: float) -> str:
        """Local time to the minute, as in 14:05."""
        return f"{datetime.fromtimestamp(unix_s, self.zone):%H:%M}"


METRIC = Reader()


@dataclass(frozen=True, slots=True)
class Said:
    """One thing to say: which (`code`, a key of the module that words it) and the figures in it.

    `side` is set where it speaks for or against a cause.
    """

    code: str
    figures: Mapping[str, float | str] = field(default_factory=dict)
    side: str = ""


# What was said as codes and figures, by the field that has it in English.
Codes = Mapping[str, tuple[Said, ...]]
DECIMALS = 4  # of a figure that is kept


def codes(**said: tuple[Said, ...]) -> Codes:
    """What was said by field, its figures as they are kept: rounded, and only those that are finite."""
    return {name: tuple(map(_kept, parts)) for name, parts in said.items() if parts}


def _kept(said: Said) -> Said:
    figures = {
        name: value if isinstance(value, str) else round(value, DECIMALS)
        for name, value in said.figures.items()
        if isinstance(value, str) or isfinite(value)
    }
    return replace(said, figures=figures)


def span(seconds: float, round_down: bool = False) -> str:
    """A span of time: "40 s", "25 min", "2 h 05 min"; a negative one is none.

    `round_down` for a time that is left: it never sounds longer than it is.
    """
    shown_s = max(0.0, seconds)
    if shown_s < 60.0 and (round_down or round(shown_s) < 60):
        return f"{floor(shown_s) if round_down else round(shown_s)} s"
    minutes = floor(shown_s / 60.0) if round_down else round(shown_s / 60.0)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60:02d} min"


@dataclass(frozen=True, slots=True)
class _Unit:
    """`imperial` is (name, factor, offset), exact by definition (yard and pound agreement of 1959)."""

    name: str
    decimals: int
    imperial: tuple[str, float, float] | None = None


# By the end of a figure's name, the longest first.
_UNITS: Mapping[str, _Unit] = {
    "_degc_per_min": _Unit(" °C a minute", 1, (" °F a minute", 1.8, 0.0)),
    "_degc": _Unit(" °C", 1, (" °F", 1.8, 32.0)),
    "_deg": _Unit("°", 2),
    "_dbm": _Unit(" dBm", 1),
    "_db": _Unit(" dB", 1),
    "_mbps": _Unit(" Mbit/s", 1),
    "_ms": _Unit(" ms", 0),
    "_percent": _Unit(" %", 0),
}


def capital(text: str) -> str:
    """As a sentence begins."""
    return text[:1].upper() + text[1:]


def worded(template: str | tuple[str, ...], figures: Mapping[str, float | str], reader: Reader) -> str:
    """The template with its figures. Of several parts those are left out whose figures are not there.

    A field is a figure's name, then after a colon: the decimals, "+" for a sign, "~" for three figures, "cap"
    for a capital. Raises KeyError where the only part lacks a figure.
    """
    if isinstance(template, str):
        return "".join(_pieces(template, figures, reader))
    parts = [part for part in template if all(name in figures for name in _names(part))]
    return ", ".join(worded(part, figures, reader) for part in parts)


def _names(template: str) -> list[str]:
    return [name for _, name, _, _ in Formatter().parse(template) if name]


def _pieces(template: str, figures: Mapping[str, float | str], reader: Reader) -> Iterator[str]:
    for literal, name, how, _ in Formatter().parse(template):
        yield literal
        if name:
            yield _figure(name, figures[name], how or "", reader)


def _figure(name: str, value: float | str, how: str, reader: Reader) -> str:
    if isinstance(value, str):
        return capital(value) if how == "cap" else value
    if name.endswith("_unix_s"):
        return reader.clock(value)
    if name.endswith("_s"):
        return span(value)
    if name.endswith("_share"):
        return f"{reader.number(100.0 * value, 0)} %"
    unit = next((unit for end, unit in _UNITS.items() if name.endswith(end)), _Unit("", 0))
    known, shown = unit.name, value
    if reader.imperial and unit.imperial is not None:
        known, factor, offset = unit.imperial
        shown = value * factor + offset
    if "~" in how:
        return reader.significant(shown, THREE_FIGURES) + known
    digits = how.strip("+")
    return reader.number(shown, int(digits) if digits else unit.decimals, "+" in how) + known
