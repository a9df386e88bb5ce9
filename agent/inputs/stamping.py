"""The time that the engine uses for a live reading: its sender's, unless that clock cannot be right. Pure."""

from dataclasses import dataclass, replace
from math import inf

from agent.records import AnyReading, ClockChange

# Nobody watched for longer than this: what lay between is not decided after the fact.
AWAY_S = 3600.0
# Messages that waited come one upon the other; after such a pause they are all here.
HOLD_S = 5.0


@dataclass(slots=True)
class Stamper:
    """Gives readings, in the order of receipt, times that never run backwards.

    `latest_unix_s` is the engine's time. Between `away_from_unix_s` and `away_to_unix_s` the agent did not
    hear the broker: a message that claims to be from then has waited, and its clock is not wrong.
    Senders go by the time of day, which is `offset_s` ahead of the engine's.
    """

    tolerance_s: float
    latest_unix_s: float = -inf
    away_from_unix_s: float = inf
    away_to_unix_s: float = -inf
    offset_s: float = 0.0
    waited_unix_s: float = -inf
    hold_s: float = HOLD_S

    def link_lost(self, unix_s: float) -> None:
        """From now on messages wait in the broker; says nothing new while they do already."""
        if self.away_to_unix_s != inf:
            self.away_from_unix_s, self.away_to_unix_s = unix_s, inf

    def link_found(self, unix_s: float) -> None:
        """Messages come at once again."""
        self.away_to_unix_s = unix_s

    def holds(self, unix_s: float) -> bool:
        """Whether messages that waited are still coming."""
        return unix_s - self.waited_unix_s <= self.hold_s

    def leap(self, unix_s: float) -> ClockChange | None:
        """What the engine has to be told before its time goes on to this; None where it was never away."""
        away_s = unix_s - self.latest_unix_s
        if not AWAY_S < away_s < inf:
            return None
        offset_s = self.offset_s
        return ClockChange(unix_s=unix_s + offset_s, stepped_s=0.0, offset_s=offset_s, away_s=away_s)

    def stamp(self, reading: AnyReading, received_unix_s: float) -> AnyReading:
        """The reading with the engine's time; `sent_unix_s` keeps a claim that was refused.

        A sender whose clock is a little fast counts as of its receipt, one that comes late as of the latest.
        """
        if isinstance(reading, ClockChange):
            self.offset_s = reading.offset_s
        claim_unix_s = reading.unix_s - self.offset_s
        waited = self.away_from_unix_s <= claim_unix_s <= min(self.away_to_unix_s, received_unix_s)
        if waited:
            self.waited_unix_s = received_unix_s
        trusted = waited or abs(claim_unix_s - received_unix_s) <= self.tolerance_s
        stamp_unix_s = min(claim_unix_s, received_unix_s) if trusted else received_unix_s
        self.latest_unix_s = max(self.latest_unix_s, stamp_unix_s)
        if trusted and self.latest_unix_s == reading.unix_s:
            return reading
        sent_unix_s = reading.sent_unix_s if trusted else reading.unix_s
        return replace(reading, unix_s=self.latest_unix_s, sent_unix_s=sent_unix_s)

    def tick(self, unix_s: float) -> float:
        """The engine's time after this much time has passed without a reading."""
        self.latest_unix_s = max(self.latest_unix_s, unix_s)
        return self.latest_unix_s
