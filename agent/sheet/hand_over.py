"""What the next crew takes over: the terminal's state, its reference, and what was noted, as lines."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.job import Job
from agent.records import Note, Situation
from agent.store.opening import open_for_reading
from agent.store.reader import readings_between, shown_times, situations
from agent.wording import Reader

MOST_NOTES = 6
SETS_REFERENCE = ("peak-done", "accept-level")


def stored_hand_over(store: Path, terminal: str, job: Job) -> list[tuple[str, str]]:
    """The lines by what the agent stored since the job began; none where it has not been at work yet."""
    if not store.exists():
        return []
    with closing(open_for_reading(store)) as connection:
        known = [one.situation for one in situations(connection) if one.terminal == terminal]
        times = shown_times(connection, terminal)
        if not known or known[0].unix_s < job.day.start_unix_s:
            return []
        began_unix_s, now_unix_s = (times.engine(one) for one in (job.day.start_unix_s, known[0].unix_s))
        readings = readings_between(connection, terminal, began_unix_s, now_unix_s)
    notes = [replace(one, unix_s=times.shown(one.unix_s)) for one in readings if isinstance(one, Note)]
    return hand_over(known[0], notes, Reader(zone=ZoneInfo(job.site.time_zone)))


def hand_over(situation: Situation, notes: Sequence[Note], reader: Reader) -> list[tuple[str, str]]:
    """Name and text of each line; `notes` in order of time, of which the last are shown."""
    state = f"{situation.verdict} ({reader.clock(situation.unix_s)})"
    alerts = [
        ("Alert", f"{one.event.rule}, {one.event.severity}")
        for one in situation.alerts
        if not one.acknowledged
    ]
    return [
        ("State", f"{state}. {situation.action}" if situation.action else state),
        *alerts,
        ("Reference", _reference(situation.figures, notes, reader)),
        *_transmitter(situation.figures, reader),
        *(_noted(one, reader) for one in notes[-MOST_NOTES:]),
    ]


def _reference(figures: Mapping[str, float], notes: Sequence[Note], reader: Reader) -> str:
    if "reference_quality_percent" in figures:
        taken = f"quality {reader.number(figures['reference_quality_percent'], 0)} %"
    elif "reference_db" in figures:
        name = "C/N" if "cn_db" in figures else "Es/N0"
        taken = f"{name} {reader.number(figures['reference_db'], 1)} dB"
    else:
        return "none yet: nobody has peaked, or no level was steady"
    set_by = [one for one in notes if one.kind in SETS_REFERENCE]
    when = f", {set_by[-1].kind} {reader.clock(set_by[-1].unix_s)}" if set_by else ""
    missing_db = figures.get("deficit_db")
    now = "" if missing_db is None else f"; {reader.number(missing_db, 1)} dB missing now"
    return f"{taken}{when}{now}"


def _transmitter(figures: Mapping[str, float], reader: Reader) -> Iterator[tuple[str, str]]:
    if "transmitter_degc" in figures:
        shade = "shaded" if figures["transmitter_shaded"] else "not shaded"
        limit = reader.number(figures["transmitter_limit_degc"], 0)
        yield "Transmitter", f"{reader.number(figures['transmitter_degc'], 0)} °C of {limit}, {shade}"


def _noted(note: Note, reader: Reader) -> tuple[str, str]:
    where = f" {note.where}" if note.where else ""
    by = f" ({note.by})" if note.by else ""
    said = f": {note.text}" if note.text else ""
    return f"Note {reader.clock(note.unix_s)}", f"{note.kind}{where}{said}{by}"
