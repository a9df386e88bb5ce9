"""Silent inputs, refused clocks, power and the stream: what the agent knows about its own sources."""

from dataclasses import dataclass, field
from math import inf, isnan, nan

from agent.records import AnyReading, Note, Power
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

    def hear(self, name: str, reading: AnyReading) -> None:
        """One reading of the input `name`; notes and tests by hand are not missed and do not pass here."""
        interval = self.heard.get(name)
        if interval is None:
            interval = self.heard[name] = Interval()
        interval.seen(reading.unix_s)

    def check_clock(self, reading: AnyReading) -> None:
        """Remember when a sender's clock was last refused."""
        if reading.sent_unix_s is not None:
            self.clock_refused_unix_s = reading.unix_s

    def power(self, reading: Power) -> None:
        """Where the power comes from, and what is left."""
        self.source = reading.source
        self.battery_percent = nan if reading.battery_percent is None else reading.battery_percent
        self.runtime_s = nan if reading.runtime_s is None else reading.runtime_s

    def stream(self, note: Note) -> None:
        """Notes about the stream."""
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
