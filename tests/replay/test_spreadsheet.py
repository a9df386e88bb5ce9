"""No cell of the files that peakshade writes is a formula, and what was written is read back.

OWASP, CSV Injection: a cell that begins with =, +, -, @, a tab or a carriage return (from memory).
"""

import csv
import io

from hypothesis import given, settings
from hypothesis import strategies as st

from agent.inputs.messages import kind_of
from agent.records import KINDS, SENT_KINDS, AnyReading, Note, Signal
from agent.replay.labels import Label, labels_from_csv, labels_to_csv
from agent.replay.session_csv import readings_from_csv, readings_to_csv
from tests.inputs.any_readings import readings

SIGNS = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
texts = st.text(st.sampled_from("'=+-@\t\r\n;,\"a1\uff1d "), max_size=8)


def no_formula(text: str) -> bool:
    """Neither to a program that separates by commas nor to one that does by semicolons or tabs."""
    cells = [cell for row in csv.reader(io.StringIO(text, newline="")) for cell in row]
    parts = [part.strip("\r\n") for cell in cells for part in cell.replace("\t", ";").split(";")]
    return not [cell for cell in cells if cell.startswith(("\t", "\r"))] and not any(
        one.startswith(SIGNS) and not one[1:].isdecimal() for one in cells + parts
    )


@settings(max_examples=50)
@given(text=texts, key=texts.filter(lambda one: one == one.strip() and one not in ("", "time")), by=texts)
def test_what_a_note_says(text: str, key: str, by: str) -> None:
    """In its text, in a field that peakshade does not know, and in the name of that field."""
    note = Note(
        unix_s=1.8e9, kind="other", text=text or None, by=by or None, extra={f"x{key}": by, key: text}
    )
    written = readings_to_csv("note", [note])
    assert no_formula(written)
    assert readings_from_csv("note", written, "notes.csv").readings == [note]


@settings(max_examples=50)
@given(readings(SENT_KINDS))
def test_any_reading_comes_back(reading: AnyReading) -> None:
    kind = kind_of(reading)
    names = [name for name in reading.extra if name != name.strip()]
    empty = any(getattr(reading, name) == "" for name in KINDS[kind].__dataclass_fields__)
    if names or empty:
        return
    assert readings_from_csv(kind, readings_to_csv(kind, [reading]), "x.csv").readings == [reading]


def test_numbers_stay_numbers() -> None:
    written = readings_to_csv("signal", [Signal(unix_s=1.8e9, esno_db=-1.5, extra={"x": -3, "y": "-3"})])
    assert written.splitlines()[1].split(",")[1:] == ["-1.5", "-3", '"""-3"""']


@given(texts)
def test_what_a_label_says(comment: str) -> None:
    label = Label(start_unix_s=1.8e9, end_unix_s=1.8e9, cause="rain", comment=comment)
    written = labels_to_csv([label])
    assert no_formula(written)
    assert labels_from_csv(written, "labels.csv") == (label,)
