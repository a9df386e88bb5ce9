"""Session folders: written and read again unchanged, and clear words about every broken one."""

import csv
import gzip
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from agent.errors import UsageError
from agent.inputs.payloads import ONE_OF
from agent.records import Signal
from agent.replay.labels import Label
from agent.replay.session_csv import readings_from_csv
from agent.replay.session_files import MAX_FILE_BYTES
from agent.replay.sessions import read_session, session_folder, write_session
from agent.replay.skipped import skipped_text
from tests.replay.session_files import START_UNIX_S, readings, replace_in, session

LABEL = Label(
    start_unix_s=START_UNIX_S + 5.0, end_unix_s=START_UNIX_S + 9.5, cause="rain", comment="short, light"
)


BAD_LINE = Signal(unix_s=START_UNIX_S + 61.0, esno_db=14.2, locked=False)  # line 3 of signal.csv


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


@pytest.mark.parametrize(
    ("breaks", "message"),
    [
        (_change("signal.csv", "14.2", "warm"), "line 3: esno_db is 'warm'; expected a number from"),
        (_change("signal.csv", "14.2", "99"), "line 3: esno_db is '99'; expected a number from -40 to"),
        (_change("signal.csv", "14.2", "nan"), "line 3: esno_db is 'nan'"),
        (_change("signal.csv", "14.2,false", ","), "line 3: none of locked, esno_db, cn_db"),
        (_change("signal.csv", ",false", ",perhaps"), "line 3: locked is 'perhaps'; expected true or false"),
        (_change("signal.csv", "07:01:01Z", "soon"), "line 3: time is '2026-07-18Tsoon'; expected RFC"),
        (_change("signal.csv", "18T07:01:01Z", "25T07:01:01Z"), "line 3: time is .*; expected a time of the"),
        (_change("signal.csv", "14.2,", ""), r"line 3: \d cells; expected \d; it was cut short"),
        (_change("signal.csv", "14.2", '"14.2'), "line 3: is not CSV"),
    ],
)
def test_a_bad_line_costs_nothing_but_itself(
    folder: Path, breaks: Callable[[Path], None], message: str
) -> None:
    breaks(folder)
    found = read_session(folder)
    (skipped,) = found.skipped
    assert re.search(f"signal.csv, {message}", str(skipped))
    assert list(found.readings) == [one for one in readings() if one != BAD_LINE]


def test_a_bad_byte_costs_its_line(folder: Path) -> None:
    path = folder / "signal.csv"
    path.write_bytes(path.read_bytes().replace(b"14.2", b"14.\xff"))
    found = read_session(folder)
    assert [str(one).partition("line ")[2] for one in found.skipped] == [
        "3: bytes that are no text; expected UTF-8; save the file as UTF-8"
    ]
    assert list(found.readings) == [one for one in readings() if one != BAD_LINE]


def test_one_time_far_ahead_does_not_cost_the_lines_after_it(folder: Path) -> None:
    """The longest run of lines in order is kept, wherever it begins."""
    replace_in(folder / "signal.csv", "2026-07-18T07:01:00Z", "2026-07-18T07:59:00Z")
    found = read_session(folder)
    assert [one.line for one in found.skipped] == [2]
    assert sum(isinstance(one, Signal) for one in found.readings) == 2


@pytest.mark.parametrize(
    ("times", "line"), [((0, 9, 1, 2, 3), 3), ((5, 6, 1, 7, 8), 4), ((1, 2, 2, 3, 0), 6)]
)
def test_the_line_out_of_order_is_the_one_that_is_left_out(times: tuple[int, ...], line: int) -> None:
    text = "time,esno_db\n" + "".join(f"{1_784_367_000 + one},9.5\n" for one in times)
    taken = readings_from_csv("signal", text, "signal.csv")
    (skipped,) = taken.skipped
    assert (skipped.line, len(taken.readings)) == (line, 4)
    assert "out of order" in str(skipped)


def test_a_packed_file_that_was_cut_gives_what_it_has(folder: Path) -> None:
    path = folder / "signal.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    many = [f"{lines[2]}" for _ in range(5000)]
    packed = gzip.compress("\n".join([lines[0], *many, ""]).encode(), mtime=0)
    path.unlink()
    (folder / "signal.csv.gz").write_bytes(packed[: len(packed) // 2])
    found = read_session(folder)
    (cut,) = found.skipped
    kept = sum(isinstance(one, Signal) for one in found.readings)
    assert 0 < kept < 5000
    assert cut.line == kept + 2
    assert "was cut short" in str(cut)


def test_a_packed_file_that_is_larger_than_any_day_is_refused(folder: Path) -> None:
    path = folder / "power.csv"
    path.unlink()
    bomb = gzip.compress(b"0" * (MAX_FILE_BYTES + 10), 1)
    (folder / "power.csv.gz").write_bytes(bomb)
    with pytest.raises(UsageError, match=r"power.csv.gz: has more than 200 MB"):
        read_session(folder)


def test_all_files_are_read_before_the_bad_ones_are_named(folder: Path) -> None:
    replace_in(folder / "power.csv", "battery", "sun")
    (folder / "weather.csv").write_bytes(b"")
    with pytest.raises(UsageError) as raised:
        read_session(folder)
    assert "power.csv: no line can be used" in str(raised.value)
    assert "power.csv, line 2: source is 'sun'" in str(raised.value)
    assert "weather.csv: is empty" in str(raised.value)


def test_ten_are_listed_and_the_rest_counted_by_reason() -> None:
    cells = ["", "warm"] + ["9.5"] * 9
    text = "time,esno_db\n" + "".join(f"{1_784_367_000 + n},{cells[n % 11]}\n" for n in range(121))
    taken = readings_from_csv("signal", text, "signal.csv")
    said = skipped_text(taken.skipped)
    assert len(taken.readings) == 99
    assert len(said) == 13
    assert said[0].startswith("signal.csv, line 2: none of locked")
    assert said[10] == "and 12 more lines skipped, 22 in all:"
    assert [line.split(":")[1] for line in said[11:]] == [" 11 x no value at all", " 11 x esno_db"]


@pytest.mark.parametrize(
    ("breaks", "message"),
    [
        (
            _change("signal.csv", "esno_db,", "esno_db,esno_db,"),
            r"signal.csv, line 1: column 'esno_db' .* twice",
        ),
        (_change("temperature.csv", "where", "place"), r"temperature.csv, line 1: column where is missing"),
        (_change("power.csv", "time,", "when,"), r"power.csv, line 1: column time is missing"),
        (_write("power.csv", b""), r"power.csv: is empty; expected a header line; remove the file"),
        (
            _write("power.csv", b"time;source\n"),
            r"power.csv, line 1: .*semicolons; save the file with commas",
        ),
        (_write("power.csv.gz", b""), r"power.csv.gz: stands beside power.csv; remove one"),
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
        (
            _change("power.csv", "2026-07-18", "2025-07-18"),
            r"power.csv: no line can be used\n.*line 2: time is '2025.*expected a time of the session",
        ),
        (_write("power.csv", b'time,source\n"2026'), r"power.csv, line 2: is not CSV"),
        (_write("power.csv", b"time,source\n\xff\xfe"), r"power.csv, line 2: bytes that are no text"),
        (_write("session.toml", b"\xff"), r"session.toml: is damaged or no UTF-8 text"),
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
