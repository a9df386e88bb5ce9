"""`peakshade init`: what it writes can be read, and nothing is overwritten or guessed."""

import io
import subprocess
import sys
from dataclasses import MISSING, fields
from pathlib import Path

import pytest

from agent.cli import main
from agent.commands.init import Answers, collected
from agent.config import load_config
from agent.config_job import JOB_SECTIONS
from agent.config_template import SETTINGS
from agent.errors import UsageError

ANSWERS = {
    "terminal": "van-1",
    "site.name": 'Salt pan, "north" gate',
    "site.latitude_deg": "37.25",
    "site.longitude_deg": "-6.95",
    "site.height_m": "12",
    "site.time_zone": "Europe/Madrid",
    "satellite.name": "GEO-A",
    "satellite.longitude_deg": "8",
    "downlink.frequency_ghz": "11.45",
    "downlink.polarisation": "vertical",
    "downlink.eirp_dbw": "50",
    "downlink.symbol_rate_msps": "5",
    "uplink.frequency_ghz": "14.05",
    "uplink.polarisation": "horizontal",
    "uplink.satellite_gt_dbk": "4",
    "uplink.symbol_rate_msps": "1.5",
    "antenna.diameter_m": "0.98",
    "transmitter.power_w": "8",
    "transmitter.limit_degc": "55",
    "service.down_mbps": "4",
    "service.up_mbps": "4",
    "service.stream_mbps": "2.5",
    "day.start": "2026-07-18 09:00",
    "day.end": "2026-07-18T19:00:00+02:00",
}
NOTHING_GIVEN: dict[str, str | None] = {setting.name: None for setting in SETTINGS}


def options(answers: dict[str, str]) -> list[str]:
    flags = {setting.name: setting.flag for setting in SETTINGS}
    return [f"{flags[name]}={value}" for name, value in answers.items()]


def test_flags_give_a_config_that_loads(tmp_path: Path) -> None:
    path = tmp_path / "van-1.toml"
    assert main(["init", str(path), *options(ANSWERS)]) == 0
    job = load_config(path, {}).job
    assert job.site.name == 'Salt pan, "north" gate'
    assert job.transmitter.power_w == 8.0
    # Madrid is two hours ahead of UTC in July: 09:00 there is 07:00 UTC, by date(1).
    assert job.day.start_unix_s == 1784358000.0
    assert "assumed" in path.read_text(encoding="utf-8")


def asked(
    lines: list[str], told: dict[str, str] | None = None, before: dict[str, str] | None = None
) -> tuple[dict[str, str | float], str, dict[str, str]]:
    """The values, what was asked, and what was saved last."""
    prompts, saved = io.StringIO(), dict[str, str]()
    typed = io.StringIO("".join(f"{one}\n" for one in lines))
    answers = Answers(told or {}, before or {}, typed, prompts, saved.update)
    return collected(NOTHING_GIVEN, answers), prompts.getvalue(), saved


def test_questions_are_asked_until_the_answer_will_do() -> None:
    values, prompts, _ = asked(["Van 1", *ANSWERS.values()])
    assert values["terminal"] == "van-1" and values["site.latitude_deg"] == 37.25
    assert values["day.start"] == "2026-07-18T09:00:00+02:00"
    assert "a-z" in prompts


def test_the_question_before_is_asked_again() -> None:
    first, second, *rest = ANSWERS.values()
    values, prompts, saved = asked(["van-9", "<", first, second, *rest])
    assert values["terminal"] == "van-1" == saved["terminal"]
    assert prompts.count("terminal (") == 2


def test_ended_answers_name_what_is_missing() -> None:
    answers = [text for name, text in ANSWERS.items() if name != "day.end"]
    with pytest.raises(UsageError, match="still needed: --day-end; go on with --resume$"):
        asked(answers)


def test_an_interrupted_run_goes_on_and_asks_its_last_answer_again() -> None:
    *done, _ = list(ANSWERS)[:10]
    before = {name: ANSWERS[name] for name in list(ANSWERS)[:10]} | {"downlink.polarisation": "circular"}
    values, prompts, _ = asked([ANSWERS[name] for name in ANSWERS if name not in done], before=before)
    assert values["downlink.polarisation"] == "vertical"
    assert prompts.startswith("downlink.polarisation (")


def test_answers_are_kept_as_they_come_and_gone_when_the_file_is_written(tmp_path: Path) -> None:
    """The process ends in the middle of its questions, as a lid that is closed ends it."""
    path, draft = tmp_path / "van-1.toml", tmp_path / "van-1.toml.answers"
    command = [sys.executable, "-m", "agent", "init", str(path)]
    first = "".join(f"{text}\n" for text in list(ANSWERS.values())[:7])
    ended = subprocess.run(command, input=first, capture_output=True, text=True, check=False)
    assert (ended.returncode, path.exists(), draft.exists()) == (2, False, True)
    rest = "".join(f"{text}\n" for text in list(ANSWERS.values())[6:])
    done = subprocess.run([*command, "--resume"], input=rest, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert load_config(path, {}).job.site.name == 'Salt pan, "north" gate'
    assert not draft.exists()
    assert main(["init", str(tmp_path / "new.toml"), "--resume"]) == 2


def test_answers_come_from_another_config(tmp_path: Path) -> None:
    path, next_one = tmp_path / "van-1.toml", tmp_path / "van-2.toml"
    assert main(["init", str(path), *options(ANSWERS)]) == 0
    assert main(["init", str(next_one), "--answers", str(path), "--terminal", "van-2"]) == 0
    job = load_config(next_one, {}).job
    assert (job.terminal, job.day) == ("van-2", load_config(path, {}).job.day)


@pytest.mark.parametrize(
    ("name", "value", "hint"),
    [
        ("site.longitude_deg", "190", "write -170"),
        ("downlink.frequency_ghz", "11450", "11.45"),
        ("day.start", "2026-07-18", "RFC 3339"),
        ("site.time_zone", "Madrid", "IANA"),
        ("antenna.diameter_m", "a metre", "a number"),
    ],
)
def test_wrong_option_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, value: str, hint: str
) -> None:
    path = tmp_path / "van-1.toml"
    assert main(["init", str(path), *options(ANSWERS | {name: value})]) == 2
    assert hint in capsys.readouterr().err
    assert not path.exists()


def test_end_before_start_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        main(["init", str(tmp_path / "van-1.toml"), *options(ANSWERS | {"day.end": "2026-07-18 08:00"})]) == 2
    )
    assert "after day.start" in capsys.readouterr().err


def test_never_overwrites_without_force(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "van-1.toml"
    path.write_text("mine", encoding="utf-8")
    assert main(["init", str(path), *options(ANSWERS)]) == 2
    assert path.read_text(encoding="utf-8") == "mine"
    assert "--force" in capsys.readouterr().err
    assert main(["init", str(path), "--force", *options(ANSWERS)]) == 0
    assert load_config(path, {}).job.terminal == "van-1"


def test_every_required_setting_of_the_job_is_in_the_template() -> None:
    written = {setting.name for setting in SETTINGS} - {"terminal", "day.start", "day.end"}
    keys = {f"{section}.{item.name}": item for section, kind in JOB_SECTIONS.items() for item in fields(kind)}
    required = {name for name, item in keys.items() if item.default is item.default_factory is MISSING}
    assert required <= written <= keys.keys()
