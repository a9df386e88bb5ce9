"""Decides what is known of the agent's own sources: silent inputs, refused clocks, power and the stream."""

from dataclasses import dataclass, field
from math import inf, isnan, nan

from agent.records import AnyReading, ClockChange, Note, Power
from agent.watch.series import Interval

REGULAR_AFTER = 4  # readings before an input's spacing is known
# A terminal has some dozens; a device that makes up a name a reading must not fill memory and messages.
MOST_INPUTS = 64
SHORTEST_SPACING_S = 10.0  # spacing of quicker inputs counts as this: the engine decides no finer

POWER_NEAR_S = 180.0  # a modem that lost its supply needs as long to be heard again (judgement)

Silence = tuple[float, float, str]  # in usual spacings, in seconds, of which input
NO_SILENCE: Silence = (0.0, 0.0, "")


@dataclass(slots=True)
class Inputs:
    """When each input was last heard. Notes come when they come and are not missed."""

    heard: dict[str, Interval] = field(default_factory=dict)
    by_hand_unix_s: dict[str, float] = field(default_factory=dict)  # what people read last, by kind
    clock_refused_unix_s: float = -inf  # a reading that keeps what its sender's clock said was refused then
    clock_stepped_unix_s: float = -inf
    clock_stepped_s: float = 0.0  # the latest correction of the agent's own clock
    clock_offset_s: float = 0.0  # the computer's clock less the engine's
    back_unix_s: float = -inf  # nobody watched shortly before
    source: str = ""
    source_changed_unix_s: float = -inf
    battery_percent: float = nan
    runtime_s: float = nan
    streaming: bool = False
    stream_mbps: float = nan

    def hear(self, name: str, reading: AnyReading, by_hand: bool = False) -> None:
        """One reading of the input `name`; what is read by hand is not missed. Notes do not pass here."""
        if by_hand:
            self.by_hand_unix_s[name] = reading.unix_s
            return
        interval = self.heard.get(name)
        if interval is None:
            if len(self.heard) >= MOST_INPUTS:
                # The one heard least often, and longest ago, is missed least.
                del self.heard[min(self.heard, key=self._heard_of)]
            interval = self.heard[name] = Interval()
        interval.seen(reading.unix_s)

    def _heard_of(self, name: str) -> tuple[int, float]:
        return self.heard[name].count, self.heard[name].last_unix_s

    def clock(self, change: ClockChange) -> None:
        """The agent's own clock."""
        self.clock_offset_s = change.offset_s
        if change.stepped_s:
            self.clock_stepped_unix_s, self.clock_stepped_s = change.unix_s, change.stepped_s

    def last_seen_unix_s(self) -> dict[str, float]:
        """When each was last heard, what is read by hand under a name of its own."""
        told = {f"{name} by hand": unix_s for name, unix_s in self.by_hand_unix_s.items()}
        return {name: interval.last_unix_s for name, interval in self.heard.items()} | told

    def power(self, reading: Power) -> None:
        """Where the power comes from, and what is left."""
        if self.source and reading.source != self.source:
            self.source_changed_unix_s = reading.unix_s
        self.source = reading.source
        self.battery_percent = nan if reading.battery_percent is None else reading.battery_percent
        self.runtime_s = nan if reading.runtime_s is None else reading.runtime_s

    def power_near(self, unix_s: float) -> bool:
        """Whether the supply changed about then."""
        return abs(self.source_changed_unix_s - unix_s) <= POWER_NEAR_S

    def stream(self, note: Note) -> None:
        """Notes about the stream."""
        if note.kind in ("stream-start", "stream-stop"):
            self.streaming = note.kind == "stream-start"

    def silences(self, unix_s: float) -> tuple[Silence, Silence]:
        """Silence of the signal, and the longest of all other inputs."""
        signal = other = NO_SILENCE
        for name, interval in self.heard.items():
            if interval.count < REGULAR_AFTER or isnan(interval.typical_s):
                continue
            age_s = unix_s - max(interval.last_unix_s, self.back_unix_s)
            silence = (age_s / max(interval.typical_s, SHORTEST_SPACING_S), age_s, name)
            if name == "signal":
                signal = silence
            else:
                other = max(other, silence)
        return signal, other
