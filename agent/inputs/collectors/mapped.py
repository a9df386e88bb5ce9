"""Readings out of other devices' payloads: the settings that say how, and the tally of what never came."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Protocol

from annotated_types import Interval, MaxLen, MinLen

from agent.config_check import Findings
from agent.inputs.collectors.decoding import (
    NUMBER,
    Format,
    PayloadRefused,
    Values,
    decode,
    pointer_error,
)
from agent.inputs.collectors.frame import Collected, Sample
from agent.inputs.mapping import MappingError, ReadingMap, fields_of, read_maps, sources_of

# So many payloads without a source say that it is misspelt, and not just rare.
ENOUGH_PAYLOADS = 20

Seconds = Annotated[float, Interval(ge=0.2, le=86_400.0)]
TimeoutSeconds = Annotated[float, Interval(ge=0.1, le=120.0)]
Word = Annotated[str, MinLen(1), MaxLen(64)]
Line = Annotated[str, MinLen(1), MaxLen(1000)]


class MapSettings(Protocol):
    """What the settings of every input with a map have."""

    @property
    def format(self) -> Format: ...
    @property
    def pattern(self) -> str | None: ...
    @property
    def readings(self) -> Mapping[str, object]: ...


@dataclass(slots=True)
class Mapped:
    """A map at work; counts which sources have ever had a value."""

    maps: Sequence[ReadingMap]
    format: Format = "json"
    pattern: re.Pattern[str] | None = None
    payloads: int = 0
    seen: set[str] = field(default_factory=set)

    def collected(self, payload: bytes, now_unix_s: float) -> Collected:
        """The readings in a payload; raises PayloadRefused where there is none."""
        return self.from_values(decode(self.format, self.pattern, payload, now_unix_s))

    def from_values(self, values: Values) -> Collected:
        """The readings in values by name; raises PayloadRefused where there is none."""
        self.payloads += 1
        self.seen.update(source for source in sources_of(self.maps) if values.value_of(source) is not None)
        try:
            found = [(one.kind, fields_of(one, values.value_of, values.units.get)) for one in self.maps]
        except MappingError as error:
            raise PayloadRefused(str(error)) from None
        samples = [Sample(kind, fields, values.unix_s) for kind, fields in found if fields is not None]
        if not samples:
            there = ", ".join(values.names) or "nothing"
            raise PayloadRefused(f"no reading by {', '.join(sources_of(self.maps))}; there is {there}")
        return Collected(samples, self._finding(values))

    def _finding(self, values: Values) -> str | None:
        missing = [one for one in sources_of(self.maps) if one not in self.seen]
        if not missing or self.payloads < ENOUGH_PAYLOADS:
            return None
        there = ", ".join(values.names)
        return f"{', '.join(missing)} never came in {self.payloads} payloads; there is {there}; mend the map"


def mapped(settings: MapSettings, section: str, findings: Findings) -> Mapped | None:
    """The map of an input's settings, or None with what is wrong noted in `findings`."""
    before = len(findings.lines)
    maps = read_maps(settings.readings, f"{section}.readings", findings)
    pattern = _pattern(settings, section, findings)
    allowed = _allowed_sources(settings.format, pattern)
    for source in sources_of(maps):
        if settings.format == "json":
            expected = pointer_error(source)
        else:
            expected = None if allowed is None or source in allowed else " or ".join(sorted(allowed))
        if expected is not None:
            findings.add(f"{section}.readings", "source", source, expected)
    if len(findings.lines) > before:
        return None
    return Mapped(maps, settings.format, pattern)


def _pattern(settings: MapSettings, section: str, findings: Findings) -> re.Pattern[str] | None:
    allowed = r'for format "text" a regular expression with named groups such as "T=(?P<t>[-0-9.]+)"'
    if (settings.pattern is None) == (settings.format == "text"):
        findings.add(section, "pattern", settings.pattern, allowed)
        return None
    if settings.pattern is None:
        return None
    try:
        return re.compile(settings.pattern, re.MULTILINE)
    except re.error as error:
        findings.add(section, "pattern", settings.pattern, allowed, str(error))
        return None


def _allowed_sources(kind: Format, pattern: re.Pattern[str] | None) -> set[str] | None:
    if kind == "number":
        return {NUMBER}
    return set(pattern.groupindex) if pattern is not None else None
