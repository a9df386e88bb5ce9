"""CSV files of other programs, by a map."""

from pathlib import Path

import pytest

from agent.cli import main
from agent.errors import UsageError
from agent.records import Signal, Temperature
from agent.replay.import_csv import csv_map, readings_from_text
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


def test_a_spreadsheet_with_commas_and_local_times() -> None:
    found = readings_from_text(SPREADSHEET, "log.csv", csv_map(SPREADSHEET_MAP, "map.toml"))
    assert found == [
        Temperature(unix_s=NOON_UNIX_S, where="transmitter", temperature_degc=48.5),
        Signal(unix_s=NOON_UNIX_S, esno_db=14.2),
        Signal(unix_s=NOON_UNIX_S + 10.0, esno_db=13.9),
        Temperature(unix_s=NOON_UNIX_S + 20.0, where="transmitter", temperature_degc=49.0),
    ]


def test_a_modem_that_has_lost_lock_is_taken_over() -> None:
    mapped = '[[signal]]\nesno_db = "snr"\nlocked = { source = "lock", words = { yes = true, no = false } }\n'
    text = "t,snr,lock\n2026-07-18T10:00:00Z,14.2,yes\n2026-07-18T10:00:10Z,,no\n"
    assert readings_from_text(text, "log.csv", csv_map(f'time = "t"\n{mapped}', "map.toml")) == [
        Signal(unix_s=NOON_UNIX_S, esno_db=14.2, locked=True),
        Signal(unix_s=NOON_UNIX_S + 10.0, locked=False),
    ]


@pytest.mark.parametrize("time", ["2026-07-18T12:00:00+02:00", "2026-07-18T10:00:00Z", "1784368800"])
def test_times_that_need_no_format(time: str) -> None:
    found = readings_from_text(f"t,snr\n{time},14.2\n", "log.csv", csv_map(PLAIN_MAP, "map.toml"))
    assert found == [Signal(unix_s=NOON_UNIX_S, esno_db=14.2)]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("t,snr\n2026-07-18T10:00:00Z,14\nnoon,14\n", "log.csv, line 3: time: t is 'noon'"),
        ("t,snr\n2026-07-18T10:00:00,14\n", "line 2: time: t is '2026-07-18T10:00:00', without an offset"),
        ("t,snr\n2026-07-18T10:00:00Z,140\n", "line 2: signal: esno_db is 140"),
        ("t,snr\n2026-07-18T10:00:00Z,high\n", 'line 2: signal: esno_db is "high"'),
        ("t,snr\n2026-07-18T10:00:00Z\n", "line 2: 1 cells, expected 2"),
        ("t;snr\n", "line 1: has no column 't', which the map names; it has: t;snr"),
        ("", "line 1: has no column 't'"),
        ('t,snr\n"2026', "line 2: is not CSV"),
    ],
)
def test_a_wrong_file_is_named_with_its_line(text: str, words: str) -> None:
    with pytest.raises(UsageError) as raised:
        readings_from_text(text, "log.csv", csv_map(PLAIN_MAP, "map.toml"))
    assert words in str(raised.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("time = 3\n", "time is missing: allowed is the name of a column"),
        ('time = "t"\ndelimiter = ";;"\n[[signal]]\nesno_db = "x"\n', "delimiter"),
        ('time = { column = "t", zone = "Madrid" }\n', "time.zone"),
        ('time = "t"\n[[sgnal]]\n', "did you mean signal?"),
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
    assert main(["import", str(tmp_path / "van-1.toml"), str(out), *files, "--title", "A log"]) == 0
    assert f"peakshade replay {out}" in capsys.readouterr().out
    day = read_session(out)
    assert (day.title, day.provenance, len(day.readings)) == ("A log", "recorded", 5)
    assert (day.start_unix_s, day.end_unix_s) == (NOON_UNIX_S, NOON_UNIX_S + 20.0)
    assert day.job.site.name == "Salt pan, north gate"
    assert main(["import", str(tmp_path / "van-1.toml"), str(out), *files]) == 2
    assert "exists already" in capsys.readouterr().err


def test_the_map_in_the_documents_works() -> None:
    """The block under "Files of other programs", on two rows as such a program writes them."""
    section = DEVELOPERS.read_text(encoding="utf-8").split("### Files of other programs")[1]
    text = section.split("```toml\n")[1].split("```")[0]
    rows = "Date;SNR;Lock;PA temp F\n18.07.2026 12:00:00;14,2;1;122\n18.07.2026 12:00:10;;0;\n"
    found = readings_from_text(rows, "log.csv", csv_map(text, "map.toml"))
    first, lost, second = sorted(found, key=lambda one: type(one).__name__)
    assert first == Signal(unix_s=NOON_UNIX_S, esno_db=14.2, locked=True)
    assert lost == Signal(unix_s=NOON_UNIX_S + 10.0, locked=False)
    assert isinstance(second, Temperature)
    # 122 °F is 50 °C: (122 - 32) * 5 / 9.
    assert second.temperature_degc == pytest.approx(50.0, abs=0.01)
