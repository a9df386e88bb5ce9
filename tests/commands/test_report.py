"""`peakshade report` on a bundled day: every file, read back by other programs."""

import importlib
import shutil
import subprocess
from pathlib import Path

import pandas as pd
import pytest
from PIL import Image

from agent.cli import main
from agent.replay.sessions import BUNDLED

Output = pytest.CaptureFixture[str]
TABLES = ("figures", "alerts", "actions", "sun_hours", "minutes")
# ISO 216: A4 is 210 mm by 297 mm; a PostScript point is 1/72 inch.
A4_POINTS = (210.0 / 25.4 * 72.0, 297.0 / 25.4 * 72.0)


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files of one report; plans go to a folder of this run."""
    folder = tmp_path_factory.mktemp("report")
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
            patch.setenv(name, str(tmp_path_factory.getbasetemp() / "cache"))
        assert main(["report", "salt-pan-summer", "--out", str(folder)]) == 1
    return folder


def needs_pdf(program: str) -> None:
    """Skip where the PDF cannot be made or read here."""
    try:
        importlib.import_module("weasyprint")
    except OSError as error:
        pytest.skip(f"the Pango library is not installed (Debian package: libpangoft2-1.0-0): {error}")
    if shutil.which(program) is None:
        pytest.skip(f"no {program} on the path (Debian package: poppler-utils)")


def test_every_table_is_written_beside_the_page(out: Path) -> None:
    expected = {"report.html", "summary.txt"}
    expected |= {f"{name}.{ending}" for name in TABLES for ending in ("csv", "parquet")}
    assert {path.name for path in out.iterdir()} - {"report.pdf"} == expected


@pytest.mark.parametrize("name", TABLES)
def test_csv_and_parquet_say_the_same(out: Path, name: str) -> None:
    csv, parquet = pd.read_csv(out / f"{name}.csv"), pd.read_parquet(out / f"{name}.parquet")
    assert len(csv) > 0
    assert list(csv.columns) == list(parquet.columns)
    for column in parquet.select_dtypes("number"):
        pd.testing.assert_series_equal(csv[column], parquet[column], check_dtype=False)
    for column in parquet.select_dtypes("datetimetz"):
        times = pd.to_datetime(csv[column], utc=True)
        pd.testing.assert_series_equal(times, parquet[column], check_dtype=False)


def test_the_re_peak_won_back_what_the_gust_took(out: Path) -> None:
    """The day's labels.csv says: gust, 1.8 dB; a peaking leaves some tenths of a dB."""
    actions = pd.read_csv(out / "actions.csv").query("kind == 'peak-start'")
    assert actions["change"].iloc[-1] == pytest.approx(1.8, abs=0.5)


def test_the_pdf_is_a4_and_has_ink_on_every_page(out: Path, tmp_path: Path) -> None:
    needs_pdf("pdftoppm")
    subprocess.run(
        ["pdftoppm", "-r", "72", "-png", str(out / "report.pdf"), str(tmp_path / "page")], check=True
    )
    pages = sorted(tmp_path.glob("page*.png"))
    assert 3 <= len(pages) <= 8
    for path in pages:
        with Image.open(path) as page:
            assert page.size == pytest.approx(A4_POINTS, abs=1.0)
            dark = sum(page.convert("L").histogram()[:128]) / (page.width * page.height)
        assert 0.002 < dark < 0.2


def test_the_text_of_the_pdf_is_that_of_the_page(out: Path) -> None:
    needs_pdf("pdftotext")
    shown = subprocess.run(
        ["pdftotext", "-layout", str(out / "report.pdf"), "-"], check=True, capture_output=True, text=True
    ).stdout
    for words in (
        "What to change next time",
        "invented data",
        "Were the planned rates there?",
        "Cautions",
        "Es/N0",
    ):
        assert words in shown


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "no day is named"),
        (["no-such-day"], "is no folder and no bundled session"),
        (["--store", "none.sqlite3"], "--store needs --day"),
        (["salt-pan-summer", "--store", "none.sqlite3"], "expected one of them"),
        (["--store", "none.sqlite3", "--day", "2026-07-18"], "there is no such file"),
        (["salt-pan-summer", "--rules", "none.toml"], "cannot be read as a rules file"),
    ],
)
def test_wrong_use_is_explained(arguments: list[str], words: str, capsys: Output) -> None:
    assert main(["report", *arguments]) == 2
    assert words in capsys.readouterr().err


def test_a_bad_day_does_not_cost_the_good_one(tmp_path: Path, capsys: Output) -> None:
    bad = tmp_path / "bad"
    shutil.copytree(BUNDLED / "quiet-dune", bad)
    (bad / "weather.csv").write_text("time;air_degc\n", encoding="utf-8")
    assert main(["report", str(bad), "quiet-dune", "--out", str(tmp_path / "out")]) == 1
    assert "weather.csv, line 1: the cells are separated by semicolons" in capsys.readouterr().err
    assert (tmp_path / "out" / "report.html").exists()
