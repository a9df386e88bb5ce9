"""Silent inputs, refused clocks, power and the stream: what the agent knows about its own sources."""

from dataclasses import dataclass, field
from math import inf, isnan, nan

from agent.records import Acknowledge, AnyReading, Note, Power, Temperature, Throughput
from agent.watch.series import Interval

REGULAR_AFTER = 4  # readings before an input's spacing is known
SHORTEST_SPACING_S = 10.0  # spacing of quicker inputs counts as this: the engine decides no finer


@dataclass(slots=True)
class Inputs:
    """When each input was last heard. Notes come when they come and are not missed."""

    heard: dict[str, Interval] = field(default_factory=dict)
    clock_refused_unix_s: float = -inf
    source: str = ""
    battery_percent: float = nan
    runtime_s: float = nan
    streaming: bool = False
    stream_mbps: float = nan

    def add(self, reading: AnyReading) -> None:
        """One reading of any kind."""
        if reading.sent_unix_s is not None:
            self.clock_refused_unix_s = reading.unix_s
        if isinstance(reading, Note):
            self._stream_note(reading)
            return
        if isinstance(reading, Acknowledge):
            return
        if isinstance(reading, Power):
            self.source = reading.source
            self.battery_percent = nan if reading.battery_percent is None else reading.battery_percent
            self.runtime_s = nan if reading.runtime_s is None else reading.runtime_s
        if isinstance(reading, Throughput):
            if reading.stream_mbps is not None:
                self.stream_mbps = reading.stream_mbps
            if reading.method == "manual":
                return
        self.heard.setdefault(input_name(reading), Interval()).seen(reading.unix_s)

    def _stream_note(self, note: Note) -> None:
        if note.kind in ("stream-start", "stream-stop"):
            self.streaming = note.kind == "stream-start"

    def silence(self, unix_s: float, signal: bool) -> tuple[float, float, str]:
        """Longest silence of the signal, or of all other inputs: in usual spacings, in seconds, whose."""
        worst = (0.0, 0.0, "")
        for name, interval in self.heard.items():
            if (name == "signal") != signal or interval.count < REGULAR_AFTER or isnan(interval.typical_s):
                continue
            age_s = unix_s - interval.last_unix_s
            worst = max(worst, (age_s / max(interval.typical_s, SHORTEST_SPACING_S), age_s, name))
        return worst


def input_name(reading: AnyReading) -> str:
    """Name of the input that a reading comes from, as on the crew's page."""
    if isinstance(reading, Temperature):
        return f"temperature {reading.where}"
    return type(reading).__name__.lower()
