"""Two taps of one button are one note; each note has a name to take it back by."""

import pytest

from agent.inputs.messages import to_message
from agent.records import Note, Signal, without_withdrawn
from agent.service.taps import named, without_second_taps
from agent.store.writer import Arrival

NOON_UNIX_S = 1_784_368_800.0
RAIN = Note(unix_s=NOON_UNIX_S, kind="rain", by="dashboard")


def came(note: Note, received_unix_s: float) -> Arrival:
    """The note as it arrives."""
    return Arrival("peakshade/van-1/note", to_message(note), "note", note, received_unix_s)


def note(after_s: float, **fields: str) -> Note:
    """A note so long after noon; rain where nothing else is said."""
    return Note(unix_s=NOON_UNIX_S + after_s, **({"kind": "rain", "by": "dashboard"} | fields))  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("second", "received_after_s", "counts"),
    [
        (note(0.4), 0.4, False),
        (note(4.9), 4.9, False),
        (note(0.4, by="van phone"), 0.4, False),
        (note(0.4, id="b7"), 0.4, False),
        (note(5.0), 5.0, True),
        (note(600.0), 1.0, True),  # told ten minutes apart, and delivered together after a gap
        (note(0.0), 600.0, True),  # a sender whose clock stands still
        (note(0.4, kind="rain-over"), 0.4, True),
        (note(0.4, where="modem"), 0.4, True),
        (note(0.4, text="hail"), 0.4, True),
    ],
)
@pytest.mark.parametrize("together", [True, False])
def test_a_second_tap_does_not_count(
    second: Note, received_after_s: float, counts: bool, together: bool
) -> None:
    first, then = came(RAIN, NOON_UNIX_S), came(second, NOON_UNIX_S + received_after_s)
    if together:
        kept, _ = without_second_taps([first, then], {})
    else:
        kept, taps = without_second_taps([first], {})
        kept += without_second_taps([then], taps)[0]
    assert kept == ([first, then] if counts else [first])


def test_two_notes_taken_back_within_seconds_are_two() -> None:
    undone = [came(note(0.1 * n, kind="undo", id=name), NOON_UNIX_S) for n, name in enumerate("ab")]
    assert without_second_taps(undone, {})[0] == undone


def test_a_note_without_a_name_gets_the_same_whenever_it_comes() -> None:
    payload = to_message(RAIN)
    assert named(RAIN, payload) == named(RAIN, payload)
    assert named(RAIN, payload).id
    assert named(RAIN, payload).id != named(note(1.0), to_message(note(1.0))).id
    assert named(note(0.0, id="own"), payload).id == "own"


def test_what_was_taken_back_is_left_out() -> None:
    heard = Signal(unix_s=NOON_UNIX_S, esno_db=14.0)
    kept = note(1.0, id="kept")
    readings = [note(0.0, id="slip"), kept, heard, note(9.0, kind="undo", id="slip"), note(10.0)]
    assert without_withdrawn(readings) == [kept, heard, note(10.0)]
