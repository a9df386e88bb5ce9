"""Faults between the sensors and the agent: lost, late, doubled and wrongly stamped readings."""

from collections.abc import Mapping
from dataclasses import replace

from agent.records import AnyReading
from tests.simulate.scenario import ClockJump, Duplicates, Episode, LateBurst, MissingInput


def with_faults(
    readings: Mapping[str, list[AnyReading]], episodes: tuple[Episode, ...], start_unix_s: float
) -> dict[str, list[AnyReading]]:
    """The readings as the agent stamps them; faults that a receipt-time recording cannot hold are none."""
    received = dict(readings)
    for episode in episodes:
        if not isinstance(episode, MissingInput | ClockJump | LateBurst | Duplicates):
            continue
        if episode.kind not in received:
            continue
        first = start_unix_s + episode.at_s
        last = first + episode.lasts_s
        before = [r for r in received[episode.kind] if r.unix_s < first]
        inside = [r for r in received[episode.kind] if first <= r.unix_s < last]
        after = [r for r in received[episode.kind] if r.unix_s >= last]
        received[episode.kind] = before + _changed(inside, episode, last) + after
    return received


def _changed(
    inside: list[AnyReading], episode: MissingInput | ClockJump | LateBurst | Duplicates, last_unix_s: float
) -> list[AnyReading]:
    match episode:
        case MissingInput():
            return []
        case ClockJump():
            return [replace(reading, sent_unix_s=reading.unix_s + episode.by_s) for reading in inside]
        case LateBurst():
            late = [replace(reading, unix_s=last_unix_s) for reading in inside]
            return late[::-1] if episode.shuffled else late
        case Duplicates():
            return [reading for reading in inside for _ in range(2)]
