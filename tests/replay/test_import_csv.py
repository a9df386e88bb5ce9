"""CSV files of other programs, by a map."""

import gzip
from pathlib import Path

import pytest

from agent.cli import main
from agent.errors import UsageError
from agent.records import AnyReading, Signal, Temperature
from agent.replay.import_csv import Imported, csv_map, readings_from, readings_from_text
from agent.replay.sessions import read_session
from tests.job_text import JOB_TOML

Output = pytest.CaptureFixture[str]
DEVELOPERS = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
NOON_UNIX_S = 1_784_368_800.0  # 2026-07-18T12:00:00+02:00
SPREADSHEET_MAP = """
time = { column = "Datum", format = "%d.%m.%Y %H:%M:%S", zone = "Europe/Madrid" }
delimiter = ";"
decimal = ","
[[signal]]
esno_db = "SNR"
[[temperature]]
where = { constant = "transmitter" }
temperature_degc = "T"
"""
SPREADSHEET = (
    "Datum;SNR;T;Bemerkung\r\n"
    "18.07.2026 12:00:10;13,9;;\r\n"
    "18.07.2026 12:00:00;14,2;48,5;auf\r\n"
    "\r\n"
    "18.07.2026 12:00:20;;49;\r\n"
)
PLAIN_MAP = 'time = "t"\n[[signal]]\nesno_db = "snr"\n'


def imported(text: str, how: str = PLAIN_MAP) -> Imported:
    """What a file gives by a map."""
    return readings_from_text(text, "log.csv", csv_map(how, "map.toml"))


def readings(text: str, how: str = PLAIN_MAP) -> list[AnyReading]:
    """The readings of a file of which nothing is left out."""
    found = imported(text, how)
    assert not found.skipped
    return found.readings


def test_a_spreadsheet_with_commas_and_local_times() -> None:
    found = readings(SPREADSHEET, SPREADSHEET_MAP)
    assert found == [
        Temperature(unix_s=NOON_UNIX_S, where="transmitter", temperature_degc=48.5),
        Signal(unix_s=NOON_UNIX_S, esno_db=14.2),
        Signal(unix_s=NOON_UNIX_S + 10.0, esno_db=13.9),
        Temperature(unix_s=NOON_UNIX_S + 20.0, where="transmitter", temperature_degc=49.0),
    ]


def test_a_modem_that_has_lost_lock_is_taken_over() -> None:
    mapped = '[[signal]]\nesno_db = "snr"\nlocked = { source = "lock", words = { yes = true, no = false } }\n'
    text = "t,snr,lock\n2026-07-18T10:00:00Z,14.2,yes\n2026-07-18T10:00:10Z,,no\n"
    assert readings(text, f'time = "t"\n{mapped}') == [
        Signal(unix_s=NOON_UNIX_S, esno_db=14.2, locked=True),
        Signal(unix_s=NOON_UNIX_S + 10.0, locked=False),
    ]


@pytest.mark.parametrize("time", ["2026-07-18T12:00:00+02:00", "2026-07-18T10:00:00Z", "1784368800"])
def test_times_that_need_no_format(time: str) -> None:
    found = readings(f"t,snr\n{time},14.2\n")
    assert found == [Signal(unix_s=NOON_UNIX_S, esno_db=14.2)]


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("noon,14", "line 3: time: t is 'noon'"),
        ("2026-07-18T10:00:00,14", "line 3: time: t is '2026-07-18T10:00:00', without an offset"),
        ("2026-07-18T10:00:00Z,140", "line 3: signal: esno_db is 140"),
        ("2026-07-18T10:00:00Z,high", 'line 3: signal: esno_db is "high"'),
        ("2026-07-18T10:00:00Z", "line 3: 1 cells; expected 2"),
        ('"2026-07-18T10:00:00Z,14', "line 3: is not CSV"),
    ],
)
def test_a_bad_line_is_named_and_the_rest_taken(row: str, words: str) -> None:
    good = "2026-07-18T10:00:00Z,14.2"
    found = imported(f"t,snr\n{good}\n{row}\n{good}\n")
    assert found.readings == [Signal(unix_s=NOON_UNIX_S, esno_db=14.2)] * 2
    (skipped,) = found.skipped
    assert words in str(skipped)
    with pytest.raises(UsageError, match="no line can be used"):
        imported(f"t,snr\n\n{row}\n")


@pytest.mark.parametrize("text", ["t;snr\n", ""])
def test_a_file_without_the_columns_of_its_map_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="line 1: has no column 't', which the map names; it has: "):
        imported(text)


def test_one_bad_value_does_not_cost_the_other_readings_of_its_line() -> None:
    found = imported("Datum;SNR;T\n18.07.2026 12:00:00;14,2;hot\n", SPREADSHEET_MAP)
    assert found.readings == [Signal(unix_s=NOON_UNIX_S, esno_db=14.2)]
    assert "line 2: temperature: temperature_degc is" in str(found.skipped[0])


def test_marks_of_an_empty_cell_are_no_values() -> None:
    how = f'empty = ["--", "n/a"]\n{PLAIN_MAP}'
    found = imported("t,snr\n1784368800,--\n1784368800,n/a\n1784368800,\n1784368800,14.2\n", how)
    assert (found.readings, found.skipped) == ([Signal(unix_s=NOON_UNIX_S, esno_db=14.2)], [])
    assert found.bare_rows == 3


def test_date_and_time_in_two_columns() -> None:
    how = 'time = { column = ["d", "t"], format = "%d/%m/%Y %H:%M", zone = "Europe/Madrid" }\n'
    found = readings("d,t,snr\n18/07/2026,12:00,14.2\n", f'{how}[[signal]]\nesno_db = "snr"\n')
    assert found == [Signal(unix_s=NOON_UNIX_S, esno_db=14.2)]


def test_the_repeated_hour_of_autumn_is_told_by_the_order_of_lines() -> None:
    """In Madrid the hour from 02:00 came twice on 2026-10-25, first at +02:00 (IANA time zone database)."""
    how = 'time = { column = "t", zone = "Europe/Madrid" }\n[[signal]]\nesno_db = "snr"\n'
    times = ["01:30", "02:30", "02:45", "02:15", "02:50", "03:10"]
    text = "t,snr\n" + "".join(f"2026-10-25T{one}:00,14.2\n" for one in times)
    found = [one.unix_s for one in readings(text, how)]
    first_unix_s = 1_792_884_600.0  # 2026-10-24T23:30:00Z
    assert [(one - first_unix_s) / 60.0 for one in found] == [0, 60, 75, 105, 140, 160]


def test_a_time_that_the_clocks_went_over_is_refused_by_name() -> None:
    """In Madrid 02:00 to 03:00 did not exist on 2026-03-29 (IANA time zone database)."""
    how = 'time = { column = "t", zone = "Europe/Madrid" }\n[[signal]]\nesno_db = "snr"\n'
    found = imported("t,snr\n2026-03-29T02:30:00,14\n2026-03-29T03:30:00,14\n", how)
    assert "2026-03-29 02:30:00 in Europe/Madrid, where the clocks went forward" in str(found.skipped[0])
    assert len(found.readings) == 1


def test_numbers_with_units_in_their_cells() -> None:
    how = """time = "t"
decimal = ","
[[signal]]
rx_level_dbm = { source = "level", pattern = '([-+.0-9]+) dBm' }
[[temperature]]
where = { constant = "transmitter" }
temperature_degc = { source = "heat", pattern = '([-+.0-9]+) ?F', unit = "degF" }
"""
    found = imported('t,level,heat\n1784368800,"-42,5 dBm",122F\n1784368800,weak,\n', how)
    level, heat = sorted(found.readings, key=lambda one: type(one).__name__)
    assert level == Signal(unix_s=NOON_UNIX_S, rx_level_dbm=-42.5)
    assert isinstance(heat, Temperature)
    assert heat.temperature_degc == pytest.approx(50.0)  # 122 °F: (122 - 32) * 5 / 9
    assert "signal.rx_level_dbm: level is 'weak'; expected text with" in str(found.skipped[0])


def test_bars_become_a_percentage() -> None:
    how = 'time = "t"\n[[signal]]\nquality_percent = { source = "bars", scale = 20 }\n'
    found = readings("t,bars\n1784368800,4\n", how)
    assert found == [Signal(unix_s=NOON_UNIX_S, quality_percent=80.0)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time = 3\n", "time is missing: allowed is the name of a column"),
        ('time = "t"\ndelimiter = ";;"\n[[signal]]\nesno_db = "x"\n', "delimiter"),
        ('time = { column = "t", zone = "Madrid" }\n', "time.zone"),
        ('time = "t"\n[[sgnal]]\n', "did you mean signal?"),
        ('time = "t"\n[[signal]]\nesno_db = { source = "x", pattern = "(a)(b)" }\n', "with one group"),
        ('time = "t"\nempty = "--"\n[[signal]]\nesno_db = "x"\n', "empty"),
        ("time = ", "is not TOML"),
    ],
)
def test_a_wrong_map_is_explained(text: str, words: str) -> None:
    with pytest.raises(UsageError) as raised:
        csv_map(text, "map.toml")
    assert words in str(raised.value)


def test_files_become_a_session_that_can_be_read(tmp_path: Path, capsys: Output) -> None:
    (tmp_path / "van-1.toml").write_text(JOB_TOML, encoding="utf-8")
    (tmp_path / "log.csv").write_text(SPREADSHEET, encoding="utf-8")
    (tmp_path / "log.toml").write_text(SPREADSHEET_MAP, encoding="utf-8")
    (tmp_path / "modem.csv").write_text("t,snr\n2026-07-18T10:00:15Z,14.0\n", encoding="utf-8")
    (tmp_path / "modem.toml").write_text(PLAIN_MAP, encoding="utf-8")
    files = ["--csv", str(tmp_path / "log.csv"), str(tmp_path / "log.toml")]
    files += ["--csv", str(tmp_path / "modem.csv"), str(tmp_path / "modem.toml")]
    out = tmp_path / "day"
    assert main(["import", str(tmp_path / "van-1.toml"), str(out), *files, "--show", "2"]) == 0
    shown = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in shown] == ["temperature", "signal", "5"]
    assert not out.exists()
    assert main(["import", str(tmp_path / "van-1.toml"), str(out), *files, "--title", "A log"]) == 0
    assert f"peakshade replay {out}" in capsys.readouterr().out
    day = read_session(out)
    assert (day.title, day.provenance, len(day.readings)) == ("A log", "recorded", 5)
    assert (day.start_unix_s, day.end_unix_s) == (NOON_UNIX_S, NOON_UNIX_S + 20.0)
    assert day.job.site.name == "Salt pan, north gate"
    assert main(["import", str(tmp_path / "van-1.toml"), str(out), *files]) == 2
    assert "exists already" in capsys.readouterr().err


def test_a_wrong_year_is_named_with_both_lines(tmp_path: Path, capsys: Output) -> None:
    """One line with another year makes an hour a year long; files of one day each are no gap."""
    (tmp_path / "van-1.toml").write_text(JOB_TOML)
    (tmp_path / "map.toml").write_text(PLAIN_MAP)
    first, second = tmp_path / "a.csv", tmp_path / "b.csv"
    first.write_text(
        "t,snr\n2026-07-18T10:00:00Z,14.2\n2025-07-18T10:00:10Z,14.1\n2026-07-18T10:00:20Z,14.2\n"
    )
    second.write_text("t,snr\n2026-07-19T09:00:00Z,14.2\n2026-07-19T09:00:10Z,14.1\n")
    files = [word for one in (first, second) for word in ("--csv", str(one), str(tmp_path / "map.toml"))]
    assert main(["import", str(tmp_path / "van-1.toml"), str(tmp_path / "out"), *files, "--show", "1"]) == 0
    assert capsys.readouterr().err == (
        f"nothing for 365 days, between 2025-07-18 12:00:10 ({first}, line 3) and"
        f" 2026-07-18 12:00:00 ({first}, line 2): is one of the two dates wrong?\n"
    )


def test_the_map_in_the_documents_works() -> None:
    """The block under "Files of other programs", on two rows as such a program writes them."""
    section = DEVELOPERS.read_text(encoding="utf-8").split("### Files of other programs")[1]
    text = section.split("```toml\n")[1].split("```")[0]
    head = "Date;SNR;Lock;PA temp F;Level\n"
    rows = f"{head}18.07.2026 12:00:00;14,2;1;122;-41,5 dBm\n18.07.2026 12:00:10;--;0;;n/a\n"
    found = readings(rows, text)
    first, lost, second = sorted(found, key=lambda one: type(one).__name__)
    assert first == Signal(unix_s=NOON_UNIX_S, esno_db=14.2, rx_level_dbm=-41.5, locked=True)
    assert lost == Signal(unix_s=NOON_UNIX_S + 10.0, locked=False)
    assert isinstance(second, Temperature)
    # 122 °F is 50 °C: (122 - 32) * 5 / 9.
    assert second.temperature_degc == pytest.approx(50.0, abs=0.01)


def test_a_packed_file_that_was_cut_says_so(tmp_path: Path) -> None:
    rows = "".join(f"{1_784_368_800 + second},{second % 7 + 10}\n" for second in range(5000))
    packed = gzip.compress(f"t,snr\n{rows}".encode(), mtime=0)
    path = tmp_path / "log.csv.gz"
    path.write_bytes(packed[: len(packed) // 2])
    found = readings_from(path, csv_map(PLAIN_MAP, "map.toml"))
    assert 0 < len(found.readings) < 5000
    assert "was cut short" in str(found.skipped[-1])
