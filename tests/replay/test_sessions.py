"""Session folders: written and read again unchanged, and clear words about every broken one."""

import csv
import gzip
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from agent.errors import UsageError
from agent.inputs.payloads import ONE_OF
from agent.records import Signal
from agent.replay.labels import Label
from agent.replay.sessions import read_session, session_folder, write_session
from tests.replay.session_files import START_UNIX_S, readings, replace_in, session

LABEL = Label(
    start_unix_s=START_UNIX_S + 5.0, end_unix_s=START_UNIX_S + 9.5, cause="rain", comment="short, light"
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    path = tmp_path / "day"
    write_session(path, session())
    return path


@pytest.mark.parametrize("labels", [None, (), (LABEL,)])
@pytest.mark.parametrize("compress_above_bytes", [None, 0])
def test_comes_back_as_written(
    tmp_path: Path, labels: tuple[Label, ...] | None, compress_above_bytes: int | None
) -> None:
    path = tmp_path / "day"
    write_session(path, session(labels), compress_above_bytes)
    back = read_session(path)
    assert back == session(labels)
    assert [type(reading.extra.get("note")) for reading in back.readings if reading.extra] == [str]


def test_a_plain_spreadsheet_reader_sees_the_columns(folder: Path) -> None:
    with (folder / "signal.csv").open(newline="", encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    assert rows[0]["time"] == "2026-07-18T07:01:00Z"
    assert rows[0]["esno_db"] == "14.3"
    assert "cn_db" not in rows[0]


@pytest.mark.parametrize("field", ONE_OF["signal"])
def test_a_signal_of_any_one_figure_comes_back(tmp_path: Path, field: str) -> None:
    value = False if field == "locked" else 3.5
    alone = Signal(unix_s=START_UNIX_S + 5.0, **{field: value})  # type: ignore[arg-type]
    write_session(tmp_path / "day", replace(session(), readings=[alone]))
    assert list(read_session(tmp_path / "day").readings) == [alone]


def test_equal_times_keep_the_order_of_the_kinds(folder: Path) -> None:
    assert [type(reading) for reading in read_session(folder).readings] == [type(r) for r in readings()]


def test_same_bytes_whenever_written(tmp_path: Path) -> None:
    for name in ("one", "two"):
        write_session(tmp_path / name, session(), compress_above_bytes=0)
    files = [sorted((tmp_path / name).iterdir()) for name in ("one", "two")]
    assert [path.read_bytes() for path in files[0]] == [path.read_bytes() for path in files[1]]


def test_nothing_remains_of_a_session_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "day").mkdir()
    with pytest.raises(UsageError, match="exists already; name a new folder"):
        write_session(tmp_path / "day", session())
    assert [path.name for path in tmp_path.iterdir()] == ["day"]


def test_byte_order_mark_blank_lines_and_carriage_returns_are_read(folder: Path) -> None:
    path = folder / "temperature.csv"
    text = path.read_text(encoding="utf-8").replace("\n", "\r\n")
    path.write_bytes(b"\xef\xbb\xbf" + text.encode() + b"\r\n\r\n")
    assert list(read_session(folder).readings) == readings()


def test_unix_seconds_are_read(folder: Path) -> None:
    replace_in(folder / "power.csv", "2026-07-18T07:01:00Z", str(int(START_UNIX_S) + 60))
    assert list(read_session(folder).readings) == readings()


def _change(name: str, old: str, new: str) -> Callable[[Path], None]:
    return lambda folder: replace_in(folder / name, old, new)


def _write(name: str, data: bytes) -> Callable[[Path], None]:
    def write(folder: Path) -> None:
        (folder / name).write_bytes(data)

    return write


def _remove(name: str) -> Callable[[Path], None]:
    return lambda folder: (folder / name).unlink()


def _cut_packed(folder: Path) -> None:
    path = folder / "temperature.csv"
    (folder / "temperature.csv.gz").write_bytes(gzip.compress(path.read_bytes() * 50)[:-20])
    path.unlink()


@pytest.mark.parametrize(
    ("breaks", "message"),
    [
        (
            _change("signal.csv", "14.2", "warm"),
            r"signal.csv, line 3: esno_db is 'warm'; expected a number from",
        ),
        (
            _change("signal.csv", "14.2", "99"),
            r"signal.csv, line 3: esno_db is '99'; expected a number from -40 to",
        ),
        (_change("signal.csv", "14.2", "nan"), r"signal.csv, line 3: esno_db is 'nan'"),
        (_change("signal.csv", "14.2,false", ","), r"signal.csv, line 3: none of locked, esno_db, cn_db"),
        (
            _change("signal.csv", ",false", ",perhaps"),
            r"signal.csv, line 3: locked is 'perhaps'.*true or false",
        ),
        (
            _change("signal.csv", "07:01:01Z", "06:59:01Z"),
            r"signal.csv, line 3: time is .* before the line above",
        ),
        (
            _change("signal.csv", "07:01:01Z", "soon"),
            r"signal.csv, line 3: time is '2026-07-18Tsoon'; expected RFC",
        ),
        (
            _change("signal.csv", "esno_db,", "esno_db,esno_db,"),
            r"signal.csv, line 1: column 'esno_db' .* twice",
        ),
        (_change("signal.csv", "14.2,", ""), r"signal.csv, line 3: \d cells, expected \d; the file was cut"),
        (
            _change("notes.csv", "peak-done", "peeked"),
            r"notes.csv, line 3: kind is 'peeked'; expected .*peak-done",
        ),
        (_change("temperature.csv", "where", "place"), r"temperature.csv, line 1: column where is missing"),
        (_change("power.csv", "time,", "when,"), r"power.csv, line 1: column time is missing"),
        (_change("power.csv", "2026-07-18", "2025-07-18"), r"power.csv: has a reading of 2025.*another day"),
        (_write("power.csv", b""), r"power.csv: is empty; expected a header line; remove the file"),
        (
            _write("power.csv", b"time;source\n"),
            r"power.csv, line 1: .*semicolons; save the file with commas",
        ),
        (_write("power.csv", b'time,source\n"2026'), r"power.csv, line 2: is not CSV"),
        (_write("power.csv", b"time,source\n\xff\xfe"), r"power.csv, line 2: is not UTF-8 text"),
        (_write("power.csv.gz", b""), r"power.csv.gz: stands beside power.csv; remove one"),
        (_cut_packed, r"temperature.csv.gz: cannot be unpacked .* cut short"),
        (_write("labels.csv", b"start,end\n"), r"labels.csv, line 1: column cause is missing"),
        (
            _write("labels.csv", b"start,end,cause\n0,1,fog\n"),
            r"labels.csv, line 2: cause is 'fog'; expected one of",
        ),
        (
            _write("labels.csv", b"start,end,cause\n5,1,rain\n"),
            r"labels.csv, line 2: the episode ends before",
        ),
        (_write("labels.csv", b"start,end,cause\n5\n"), r"labels.csv, line 2: end is ''; expected a time"),
        (_remove("session.toml"), r"session.toml: is missing; a session folder needs it"),
        (_remove("config.toml"), r"config.toml: is missing"),
        (_write("session.toml", b"title = day"), r"session.toml: is not TOML"),
        (
            _change("session.toml", "invented", "dreamt"),
            r"session.toml: provenance is 'dreamt'; expected recorded or",
        ),
        (_change("session.toml", "start = ", "begin = "), r"session.toml: start is None; expected a time"),
        (
            _change("config.toml", "diameter_m = 0.98", "diameter_m = 98"),
            r"config.toml: antenna.diameter_m = 98",
        ),
    ],
)
def test_says_what_is_wrong_where_and_what_to_do(
    folder: Path, breaks: Callable[[Path], None], message: str
) -> None:
    breaks(folder)
    with pytest.raises(UsageError, match=message):
        read_session(folder)


def test_a_folder_without_readings_is_refused(folder: Path) -> None:
    for path in folder.glob("*.csv"):
        path.unlink()
    with pytest.raises(UsageError, match="holds no reading; expected at least one of notes"):
        read_session(folder)


def test_a_foreign_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "photo.jpg").write_bytes(b"\xff\xd8")
    with pytest.raises(UsageError, match=r"session.toml: is missing"):
        read_session(tmp_path)


def test_names_the_bundled_sessions_when_it_knows_none(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"no folder and no bundled session; those are .*salt-pan-summer"):
        session_folder("salt-pam")
    assert session_folder(str(tmp_path)) == tmp_path
    assert read_session(session_folder("salt-pan-summer")).terminal == "van-1"


def test_unknown_columns_are_kept(folder: Path) -> None:
    replace_in(folder / "power.csv", "time,source", "time,colour,source")
    replace_in(folder / "power.csv", "Z,battery", "Z,dark red,battery")
    kept = [reading.extra for reading in read_session(folder).readings if "colour" in reading.extra]
    assert kept == [{"colour": "dark red"}]


def test_a_header_alone_is_an_empty_kind(folder: Path) -> None:
    (folder / "power.csv").write_text("time,source\n", encoding="utf-8")
    found = read_session(folder).readings
    assert len(found) == len(readings()) - 1
    assert any(isinstance(reading, Signal) for reading in found)
