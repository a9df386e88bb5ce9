"""Decides where the link stands: unheard, not locked, lock lost, not peaked, peaked, coming up, watched."""

from dataclasses import dataclass
from math import isnan, nan
from typing import Literal, NamedTuple

from agent.records import Signal

Phase = Literal["unheard", "unlocked", "lost", "peaking", "unpeaked", "peaked", "coming-up", "watching"]

ASK_AFTER_S = 300.0  # of lock without a peaking: then the crew is asked for it (judgement)
TWICE = 2  # one message without lock may be a restart of whatever reads the modem


def tells_lock(signal: Signal) -> bool | None:
    """What a reading says of lock: its own word, else yes where it has a figure; None: nothing."""
    if signal.locked is not None:
        return signal.locked
    if signal.esno_db is not None or signal.cn_db is not None or signal.quality_percent is not None:
        return True
    return None


@dataclass(slots=True)
class Lock:
    """Whether the modem has lock, since when, and whether it ever had."""

    ever: bool = False
    locked: bool = False
    since_unix_s: float = nan
    heard: int = 0  # readings since the last change

    def add(self, signal: Signal) -> None:
        """One signal reading."""
        told = tells_lock(signal)
        if told is None:
            return
        if told is self.locked and self.heard:
            self.heard += 1
            return
        if told != self.locked or isnan(self.since_unix_s):
            self.locked, self.since_unix_s, self.heard = told, signal.unix_s, 0
        # A person who looks at the modem does not err as its reader may.
        self.heard += 1 if signal.method is None else TWICE
        self.ever = self.ever or told

    def lost_s(self, unix_s: float) -> float:
        """How long lock has been lost (s): 0 with lock, before the first one, or heard of but once."""
        lost = self.ever and not self.locked and self.heard >= TWICE
        return unix_s - self.since_unix_s if lost else 0.0

    def held_s(self, unix_s: float) -> float:
        """How long lock has held (s), 0 without."""
        return unix_s - self.since_unix_s if self.locked else 0.0


class LinkView(NamedTuple):
    """The link at one decision."""

    phase: Phase
    lock_since_unix_s: float  # of the last change; NaN before the first word of it
    lost_s: float
    held_s: float
    knock: bool  # noted about when lock went
    gust: bool
    rain_seen: bool
    power_changed: bool
    silent_s: float  # since the last signal reading; inf before the first
    usual_s: float  # spacing of signal readings; NaN where not known yet
    accepted: bool  # the crew took the level as it is for the reference
    adopted: bool  # nobody peaked: the level was steady and became the reference


def phase_of(lock: Lock, peaking: bool, peaked: bool, reference_db: float, settling: bool) -> Phase:
    """Where the link stands; `peaked` is a peaking done whose level is being taken."""
    if isnan(lock.since_unix_s):
        return "unheard"
    if peaking and not peaked:
        return "peaking"
    if not lock.locked:
        return "lost" if lock.ever else "unlocked"
    if peaked:
        return "peaked"
    if isnan(reference_db):
        return "unpeaked"
    return "coming-up" if settling else "watching"
