"""Notes as the crew means them: each has a name to take it back by, and two taps are one note. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from hashlib import blake2b
from math import inf

from agent.records import UNDO, Note
from agent.store.writer import Arrival, Refusal

NAME_BYTES = 4
SAME_TAP_S = 5.0  # two taps of one button within this are one note
NEVER = (-inf, -inf)

Wording = tuple[str, ...]
# When the latest note of each wording was told, and when it came (Unix seconds).
Taps = Mapping[Wording, tuple[float, float]]


def named(note: Note, payload: bytes) -> Note:
    """The note with a name; one without is given the same whenever its message comes."""
    if note.id is not None:
        return note
    return replace(note, id=blake2b(payload, digest_size=NAME_BYTES).hexdigest())


def without_second_taps(
    messages: Sequence[Arrival | Refusal], taps: Taps
) -> tuple[list[Arrival | Refusal], Taps]:
    """The messages that count, and the taps after them."""
    latest, kept = dict(taps), []
    for one in messages:
        if isinstance(one, Arrival) and isinstance(one.reading, Note):
            wording, times = _wording(one.reading), (one.reading.unix_s, one.received_unix_s)
            before = latest.get(wording, NEVER)
            if max(abs(times[0] - before[0]), abs(times[1] - before[1])) < SAME_TAP_S:
                continue
            latest = {key: at for key, at in latest.items() if times[1] - at[1] < SAME_TAP_S}
            latest[wording] = times
        kept.append(one)
    return kept, latest


def _wording(note: Note) -> Wording:
    """What two taps have in common; a note that takes another one back also its name."""
    name = note.id if note.kind == UNDO else None
    return note.kind, repr((name, note.where, note.text, note.extra))
