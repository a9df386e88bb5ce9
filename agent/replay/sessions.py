"""Recorded sessions: a folder with `session.toml`, `config.toml`, one CSV a kind and perhaps `labels.csv`.

A kind may also be a table of Parquet with the same columns.
"""

import gc
import gzip
import io
import json
import os
import shutil
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from operator import attrgetter
from pathlib import Path
from zoneinfo import ZoneInfo

import agent
from agent.config_job import job_from_mapping
from agent.errors import UsageError
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.span import Span
from agent.planning.store import kept_plan, plan_file_text
from agent.records import CSV_STEMS, KINDS, SENT_KINDS, AnyReading, ClockChange
from agent.replay.labels import Label, labels_from_csv, labels_to_csv, moved
from agent.replay.session_csv import Taken, readings_from_csv, readings_to_csv
from agent.replay.session_files import PARQUET, csv_text, whole_text
from agent.replay.session_time import rfc3339_from_unix_s, unix_s_from_cell
from agent.replay.skipped import SkippedLine
from agent.store.shown import ShownTimes

BUNDLED = Path(agent.__file__).parents[1] / "replay_data"
SESSION_FILE = "session.toml"
CONFIG_FILE = "config.toml"
PLAN_FILE = "plan.json"
LABELS_STEM = "labels"
TEXT_KEYS = ("title", "terminal", "provenance", "story")
PROVENANCES = ("recorded", "invented")
# Sensors may be on before the job and after it, but a file of another date is a mistake.
OUTSIDE_SPAN_S = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """One recorded day. `readings` stand in the order in which they enter the engine.

    All times are the engine's, `labels` in the file those that people know. They are None where nobody has
    labelled the day, and empty where nothing went wrong. `skipped` are the
    lines of its files that could not be used. `plan` is the one that it ran with; None: not known.
    """

    title: str
    terminal: str
    start_unix_s: float
    end_unix_s: float
    provenance: str
    story: str
    config_text: str
    job: Job
    readings: Sequence[AnyReading]
    labels: tuple[Label, ...] | None
    skipped: tuple[SkippedLine, ...] = ()
    plan: LinkPlan | None = None

    @property
    def times(self) -> ShownTimes:
        """How people know the times, which are all the engine's."""
        return ShownTimes(one for one in self.readings if isinstance(one, ClockChange))


@dataclass(frozen=True, slots=True, kw_only=True)
class SessionHead:
    """What a session says of itself, without its readings."""

    title: str
    start_unix_s: float
    end_unix_s: float
    zone: ZoneInfo
    labels: tuple[Label, ...] | None


def session_folder(name: str) -> Path:
    """The folder that the user means: a path, or the name of a bundled session; raises UsageError."""
    folder = Path(name)
    if folder.is_dir():
        return folder
    if (BUNDLED / name).is_dir():
        return BUNDLED / name
    known = ", ".join(sorted(path.parent.name for path in BUNDLED.glob(f"*/{SESSION_FILE}")))
    raise UsageError(f"{name}: is no folder and no bundled session; those are {known}")


def labelled_folders(names: Sequence[str]) -> list[Path]:
    """The sessions' folders; raises UsageError for one without labels, or named twice."""
    folders = [session_folder(name).resolve() for name in names]
    for index, folder in enumerate(folders):
        if not any(folder.glob(f"{LABELS_STEM}.csv*")):
            raise UsageError(
                f"{folder}: has no {LABELS_STEM}.csv; tuning needs sessions that say what happened"
            )
        if folder in folders[:index]:
            raise UsageError(f"{folder}: is named twice; name each session once")
    return folders


def read_head(folder: Path) -> SessionHead:
    """Title, span, time zone and labels of the session in `folder`; raises UsageError."""
    head, config = _toml(folder / SESSION_FILE), folder / CONFIG_FILE
    clock = _table_path(folder, CSV_STEMS["clock"])
    changes = [] if clock is None else readings_from_csv("clock", csv_text(clock)[0], str(clock)).readings
    times = ShownTimes(one for one in changes if isinstance(one, ClockChange))
    return SessionHead(
        title=_text_value(head, "title", folder / SESSION_FILE),
        start_unix_s=_time_value(head, "start", folder / SESSION_FILE),
        end_unix_s=_time_value(head, "end", folder / SESSION_FILE),
        zone=ZoneInfo(job_from_mapping(_toml(config), str(config)).site.time_zone),
        labels=_labels(folder, times),
    )


def _labels(folder: Path, times: ShownTimes) -> tuple[Label, ...] | None:
    path = _table_path(folder, LABELS_STEM)
    return None if path is None else moved(labels_from_csv(whole_text(path), str(path)), times.engine)


def read_session(folder: Path) -> Session:
    """The session in `folder`; raises UsageError with file, line, what is wrong and what to do."""
    if not folder.is_dir():
        raise UsageError(
            f"{folder}: there is no such session folder; name a folder that holds {SESSION_FILE}"
        )
    head = _toml(folder / SESSION_FILE)
    texts = {key: _text_value(head, key, folder / SESSION_FILE) for key in TEXT_KEYS}
    if texts["provenance"] not in PROVENANCES:
        raise UsageError(
            f"{folder / SESSION_FILE}: provenance is {texts['provenance']!r}; expected recorded or invented"
        )
    start_unix_s, end_unix_s = (_time_value(head, key, folder / SESSION_FILE) for key in ("start", "end"))
    if end_unix_s <= start_unix_s:
        raise UsageError(f"{folder / SESSION_FILE}: end is not after start; correct one of them")
    config = folder / CONFIG_FILE
    job = job_from_mapping(_toml(config), str(config))
    taken = _without_collector(lambda: _all_readings(folder, start_unix_s, end_unix_s))
    times = ShownTimes(one for one in taken.readings if isinstance(one, ClockChange))
    return Session(
        **texts,
        start_unix_s=start_unix_s,
        end_unix_s=end_unix_s,
        config_text=whole_text(config),
        job=job,
        readings=taken.readings,
        labels=_labels(folder, times),
        skipped=tuple(taken.skipped),
        plan=kept_plan(folder / PLAN_FILE, job, Span(times.shown(start_unix_s), times.shown(end_unix_s))),
    )


def _without_collector(load: Callable[[], Taken]) -> Taken:
    """What `load` returns, without searching for reference cycles meanwhile.

    A day has 60,000 records and no cycle among them, and the search takes as long as the reading.
    """
    searching = gc.isenabled()
    gc.disable()
    try:
        return load()
    finally:
        if searching:
            gc.enable()


def _all_readings(folder: Path, start_unix_s: float, end_unix_s: float) -> Taken:
    """Sorted by time; the sort is stable: equal times keep the order of the kinds, then of the files.

    All files are read before any is complained about.
    """
    around = (start_unix_s - OUTSIDE_SPAN_S, end_unix_s + OUTSIDE_SPAN_S)
    taken = Taken([], [])
    refused: list[str] = []
    for kind, stem in CSV_STEMS.items():
        try:
            path = _table_path(folder, stem)
            if path is None:
                continue
            text, cut = csv_text(path)
            found = readings_from_csv(kind, text, str(path), around)
        except UsageError as error:
            refused.append(str(error))
            continue
        taken.readings.extend(found.readings)
        taken.skipped.extend([*found.skipped, *cut])
    if refused:
        raise UsageError("\n".join(refused))
    taken.readings.sort(key=attrgetter("unix_s"))
    if not taken.readings:
        stems = ", ".join(CSV_STEMS[kind] for kind in SENT_KINDS)
        raise UsageError(f"{folder}: holds no reading; expected at least one of {stems}")
    return taken


def _table_path(folder: Path, stem: str) -> Path | None:
    endings = (".csv", ".csv.gz", PARQUET)
    found = [path for ending in endings if (path := folder / f"{stem}{ending}").exists()]
    if len(found) > 1:
        raise UsageError(f"{found[1]}: stands beside {found[0].name}; remove one of them")
    return found[0] if found else None


def _toml(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(whole_text(path))
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"{path}: is not TOML: {error}; text stands in quotes, a key once") from None


def _text_value(head: Mapping[str, object], key: str, path: Path) -> str:
    value = head.get(key)
    if not isinstance(value, str):
        raise UsageError(f"{path}: {key} is {value!r}; expected text in quotes")
    return value


def _time_value(head: Mapping[str, object], key: str, path: Path) -> float:
    value = head.get(key)
    if isinstance(value, datetime) and value.tzinfo is not None:
        return value.timestamp()
    time_unix_s = unix_s_from_cell(value) if isinstance(value, str) else None
    if time_unix_s is None:
        raise UsageError(f'{path}: {key} is {value!r}; expected a time such as "2026-07-18T09:00:00+02:00"')
    return time_unix_s


def write_session(folder: Path, session: Session, compress_above_bytes: int | None = None) -> None:
    """Write the session as a new folder, all of it or nothing; raises UsageError where `folder` exists.

    CSV files larger than `compress_above_bytes` become `.csv.gz`, the same bytes for the same readings.
    """
    if folder.exists():
        raise UsageError(f"{folder}: exists already; name a new folder or remove this one")
    folder.parent.mkdir(parents=True, exist_ok=True)
    partial = folder.parent / f".{folder.name}.partial-{os.getpid()}"
    partial.mkdir()
    try:
        for name, data in _files(session).items():
            large = compress_above_bytes is not None and len(data) > compress_above_bytes
            if large and name.endswith(".csv"):
                (partial / f"{name}.gz").write_bytes(_gzip(data))
            else:
                (partial / name).write_bytes(data)
        partial.rename(folder)
    except BaseException:
        shutil.rmtree(partial)
        raise


def _gzip(data: bytes) -> bytes:
    out = io.BytesIO()
    with gzip.GzipFile(filename="", mode="wb", fileobj=out, compresslevel=9, mtime=0) as packed:
        packed.write(data)
    return out.getvalue()


def _files(session: Session) -> dict[str, bytes]:
    texts = {SESSION_FILE: _session_toml(session), CONFIG_FILE: session.config_text}
    for kind, stem in CSV_STEMS.items():
        readings = [reading for reading in session.readings if isinstance(reading, KINDS[kind])]
        if readings:
            texts[f"{stem}.csv"] = readings_to_csv(kind, readings)
    if session.plan is not None:
        texts[PLAN_FILE] = plan_file_text(session.job, session.plan)
    if session.labels is not None:
        texts[f"{LABELS_STEM}.csv"] = labels_to_csv(moved(session.labels, session.times.shown))
    return {name: text.encode() for name, text in texts.items()}


def _session_toml(session: Session) -> str:
    values = {
        "title": session.title,
        "terminal": session.terminal,
        "start": rfc3339_from_unix_s(session.start_unix_s),
        "end": rfc3339_from_unix_s(session.end_unix_s),
        "provenance": session.provenance,
        "story": session.story,
    }
    return "".join(f"{key} = {_toml_text(value)}\n" for key, value in values.items())


def _toml_text(value: str) -> str:
    """A basic string of TOML: JSON's escapes, and the delete character which JSON leaves bare."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
