"""`peakshade replay` on bundled and broken sessions."""

import json
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from agent.cli import main
from agent.replay.scoring import TARGETS
from agent.replay.sessions import BUNDLED

Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Plans go to a folder of this run, shared by its tests."""
    folder = tmp_path_factory.getbasetemp() / "cache"
    for name in ("XDG_CACHE_HOME", "LOCALAPPDATA", "HOME"):
        monkeypatch.setenv(name, str(folder))


def test_json_is_the_contract(capsys: Output) -> None:
    assert main(["replay", "salt-pan-summer", "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert set(body) == {"events", "score"}
    keys = {"time", "rule", "severity", "state", "cause", "action", "evidence"}
    assert body["events"]
    assert all(keys <= set(event) <= keys | {"confidence"} for event in body["events"])
    sure = [event["confidence"] for event in body["events"] if "confidence" in event]
    assert sure and all(0.0 <= value <= 1.0 for value in sure)
    assert set(body["score"]) == set(TARGETS)
    # The labels of this day: one overheat, one mispoint of 1.8 dB, no rain.
    assert body["score"]["shade"]["recall"] == 1.0
    assert body["score"]["repeak"]["recall"] == 1.0
    assert body["score"]["repeak"]["median_delay_s"] <= 360.0
    assert body["score"]["wait-rain"]["recall"] is None


def test_the_demonstration_tells_its_story_in_order(capsys: Output) -> None:
    main(["replay", "salt-pan-summer", "--json"])
    events = json.loads(capsys.readouterr().out)["events"]
    told = [(e["rule"], e["state"]) for e in events if e["rule"] in ("shade", "repeak")]
    assert list(dict.fromkeys(told)) == [
        ("shade", "raised"),
        ("shade", "cleared"),
        ("repeak", "raised"),
        ("repeak", "cleared"),
    ]


def test_a_quiet_day_stays_quiet(capsys: Output) -> None:
    assert main(["replay", "quiet-dune"]) == 0
    out = capsys.readouterr().out
    assert "no alert" in out
    assert "Trail run past the long dune" in out


def test_several_sessions_are_keyed_by_name_and_pooled(capsys: Output) -> None:
    names = ["quiet-dune", "salt-pan-summer"]
    main(["replay", *names, "--json"])
    assert list(json.loads(capsys.readouterr().out)) == names
    main(["replay", *names])
    out = capsys.readouterr().out
    assert "All 2 labelled sessions" in out
    assert "A fixed threshold on the same days" in out


def test_a_session_without_labels_has_no_score(tmp_path: Path, capsys: Output) -> None:
    shutil.copytree(BUNDLED / "quiet-dune", tmp_path / "day")
    (tmp_path / "day" / "labels.csv").unlink()
    assert main(["replay", str(tmp_path / "day"), "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)) == {"events"}


def test_stops_at_a_moment_of_the_site(capsys: Output) -> None:
    assert main(["replay", "salt-pan-summer", "--at", "11:05", "--json"]) == 0
    body = json.loads(capsys.readouterr().out)
    assert [(e["rule"], e["state"]) for e in body["events"]] == [("shade", "raised")]
    known = body["situation"]
    assert known["time"] == "2026-07-18T09:05:00Z"  # five past eleven in summer time
    assert known["level"] == "act"
    (alert,) = known["alerts"]
    assert alert["rule"] == "shade"
    assert any("sunshine" in reason for reason in alert["evidence"])
    assert known["figures"]["transmitter_limit_degc"] == 55.0
    main(["replay", "salt-pan-summer", "--at", "11:05"])
    lines = [" ".join(line.split()) for line in capsys.readouterr().out.splitlines()]
    assert any(line.startswith("Known at 11:05:00: Transmitter ") for line in lines)
    assert any("Shade the transmitter now" in line for line in lines)
    assert "transmitter limit 55 °C" in lines
    assert "transmitter shaded no" in lines


def rules_file(folder: Path, name: str, text: str) -> str:
    (folder / name).write_text(text, encoding="utf-8")
    return str(folder / name)


def test_a_rules_file_is_compared_with_the_defaults(tmp_path: Path, capsys: Output) -> None:
    """The gust costs 1.8 dB (labels.csv): rules that wait for 5 dB do not see it."""
    deaf = rules_file(tmp_path, "deaf.toml", "[repeak]\nraise_db = 5.0\nurgent_db = 8.0\n")
    assert main(["replay", "salt-pan-summer", "--rules", deaf, "--json"]) == 1
    differences = json.loads(capsys.readouterr().out)["differences"]
    assert [one["kind"] for one in differences if one["rule"] == "repeak"] == ["only-first"]
    assert [one["kind"] for one in differences if one["rule"] == "shade"] == ["same"]
    main(["replay", "salt-pan-summer", "--rules", deaf])
    out = capsys.readouterr().out
    assert "Beside defaults" in out
    assert "not raised: mispoint was labelled" in out


def test_two_rules_files_are_compared_with_each_other(tmp_path: Path, capsys: Output) -> None:
    """Holding four minutes longer raises the same alert four minutes later."""
    quick = rules_file(tmp_path, "quick.toml", "[repeak]\nhold_s = 120\n")
    slow = rules_file(tmp_path, "slow.toml", "[repeak]\nhold_s = 360\n")
    main(["replay", "salt-pan-summer", "--rules", quick, "--rules", slow])
    out = capsys.readouterr().out
    assert f"Beside {quick}" in out
    assert "240 s later" in out
    main(["replay", "salt-pan-summer", "--rules", slow, "--rules", quick])
    assert "240 s earlier" in capsys.readouterr().out
    assert main(["replay", "salt-pan-summer", "--rules", slow, "--rules", quick, "--rules", quick]) == 2


def test_a_missed_episode_is_a_finding(tmp_path: Path, capsys: Output) -> None:
    folder = tmp_path / "day"
    shutil.copytree(BUNDLED / "quiet-dune", folder)
    labels = "start,end,cause,comment\n2026-07-05T09:00:00Z,2026-07-05T09:10:00Z,power,not in the readings\n"
    (folder / "labels.csv").write_text(labels, encoding="utf-8")
    assert main(["replay", str(folder)]) == 1
    assert "on-battery" in capsys.readouterr().out


def _empty(folder: Path) -> None:
    (folder / "weather.csv").write_text("", encoding="utf-8")


def _no_zone(folder: Path) -> None:
    path = folder / "config.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("time_zone", "zone"), encoding="utf-8")


@pytest.mark.parametrize(
    ("breaks", "words"), [(_empty, "weather.csv: is empty"), (_no_zone, "site.time_zone")]
)
def test_a_broken_session_is_named_and_the_others_are_replayed(
    tmp_path: Path, capsys: Output, breaks: Callable[[Path], None], words: str
) -> None:
    folder = tmp_path / "day"
    shutil.copytree(BUNDLED / "quiet-dune", folder)
    breaks(folder)
    assert main(["replay", str(folder)]) == 2
    assert words in capsys.readouterr().err
    assert main(["replay", str(folder), "quiet-dune"]) == 1
    both = capsys.readouterr()
    assert words in both.err
    assert "Trail run past the long dune" in both.out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere"], "no bundled session; those are"),
        (["quiet-dune", "--at", "noon"], "--at is 'noon'; expected 14:05"),
        (["quiet-dune", "--rules", "none.toml"], "none.toml: cannot be read as a rules file"),
    ],
)
def test_usage_errors(arguments: list[str], words: str, capsys: Output) -> None:
    assert main(["replay", *arguments]) == 2
    assert words in capsys.readouterr().err


def test_a_bad_line_is_named_and_the_day_replayed_unless_strict(tmp_path: Path, capsys: Output) -> None:
    folder = tmp_path / "day"
    shutil.copytree(BUNDLED / "quiet-dune", folder)
    path = folder / "weather.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    lines[5] = "a coffee stain\n"
    path.write_text("".join(lines), encoding="utf-8")
    assert main(["replay", str(folder)]) == 1
    said = capsys.readouterr()
    assert "weather.csv, line 6: 1 cells; expected" in said.err
    assert "Trail run past the long dune" in said.out
    assert main(["replay", str(folder), "--strict"]) == 2
    assert "weather.csv, line 6" in capsys.readouterr().err
