"""run, demo, status, note and check, with real stores and a real broker."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
import tomllib
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from agent.cli import main
from agent.commands import check
from agent.commands.broker_answer import Finding, asked_broker, check_broker
from agent.config import Config, load_config
from agent.inputs.messages import status_message
from agent.inputs.payloads import parse
from agent.records import AnyReading, Note, Signal, Temperature
from agent.service.status_file import write_status
from agent.store.writer import StoreWriter
from dashboard.app import build_app
from dashboard.pages.crew import NEWS
from dashboard.settings import Settings
from tests.job_text import JOB_TOML
from tests.live import ROOT, TERMINAL, config_for, embedded_at
from tests.processes import PATIENCE_S, Mosquitto, broker_at, free_port, wait_until
from tests.test_service import DAY, arrivals, opened
from tests.watch.sample_day import at


def told(store: Path, until_minute: float) -> None:
    """A store in which the agent has taken in the sample day up to this minute, just now."""
    pipeline = opened(store)
    pipeline.feed(pipeline.add(arrivals([one for one in DAY if one.unix_s < at(until_minute)])), time.time())
    pipeline.close()


def config_file(folder: Path, port: int) -> Path:
    """A config whose broker is on this port."""
    path = folder / "van-1.toml"
    path.write_text(f'{JOB_TOML}\n[broker]\nhost = "127.0.0.1"\nport = {port}\n')
    return path


def test_status_says_fine(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = tmp_path / "day.sqlite3"
    told(store, 25.0)
    assert main(["status", "--store", str(store)]) == 0
    assert capsys.readouterr().out.startswith(f"{TERMINAL}: fine: ")


def test_status_with_an_alert_asks_for_somebody(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = tmp_path / "day.sqlite3"
    told(store, 39.0)
    assert main(["status", "--store", str(store)]) == 1
    said = capsys.readouterr().out
    assert f"{TERMINAL}: act: " in said
    assert "Re-peak the dish (act), for " in said


def test_status_as_json_has_verdict_and_alerts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = tmp_path / "day.sqlite3"
    told(store, 39.0)
    assert main(["status", "--store", str(store), "--json"]) == 1
    (found,) = json.loads(capsys.readouterr().out)
    assert (found["terminal"], found["level"]) == (TERMINAL, "act")
    assert "repeak" in [alert["rule"] for alert in found["alerts"]]


def test_the_version_is_that_of_the_package(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["--version"])
    assert ended.value.code == 0
    pyproject = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text())
    assert capsys.readouterr().out == f"peakshade {pyproject['project']['version']}\n"


@pytest.mark.parametrize(
    ("written_s", "said"),
    [(-7300.0, "has written nothing for 2 h 02 min"), (7300.0, "the clock was set back")],
)
def test_status_of_an_agent_that_has_stopped(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], written_s: float, said: str
) -> None:
    """On the page too: what is of a time to come is not of now either."""
    store = tmp_path / "day.sqlite3"
    pipeline = opened(store)
    pipeline.feed(pipeline.add(arrivals(DAY[:200])), time.time() + written_s)
    pipeline.close()
    assert main(["status", "--store", str(store)]) == 1
    assert said in capsys.readouterr().out
    settings = Settings(store=store, mqtt_host="127.0.0.1", mqtt_port=1)
    page = build_app(settings, None).server.test_client()
    contact = page.post(NEWS, json={"terminal": None, "digests": {}}).json["contact"]
    assert contact["written_age_s"] > settings.silent_after_s
    assert "Nothing heard for 2 h" in page.get("/terminals").text


def test_status_of_an_agent_that_has_ended_in_order(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = tmp_path / "day.sqlite3"
    told(store, 25.0)
    write_status(store, status_message(time.time(), "offline", {}))
    assert main(["status", "--store", str(store)]) == 1
    assert capsys.readouterr().out.startswith("the agent has ended: these were its last words")
    write_status(store, status_message(time.time(), "online", {}))
    assert main(["status", "--store", str(store)]) == 0
    for torn in (b"", b'{"state"', b"[]", b"{}", b"\xff"):
        write_status(store, torn)
        assert main(["status", "--store", str(store)]) == 0


def test_a_note_of_a_place_that_the_terminal_does_not_know(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = config_file(tmp_path, free_port())
    told(load_config(config, {}).store.path, 25.0)
    assert main(["note", "shade-on", "--where", "trasmitter", "--config", str(config)]) == 2
    assert "--where is 'trasmitter'; expected one that the terminal knows: transmitter, modem" in (
        capsys.readouterr().err
    )


@pytest.mark.parametrize("words", [[], ["van-1.toml", "--store", "day.sqlite3"], ["--store", "none.sqlite3"]])
def test_status_of_nothing(words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["status", *words]) == 2


@pytest.mark.mosquitto
def test_a_note_reaches_the_broker(
    tmp_path: Path, mosquitto: Mosquitto, capsys: pytest.CaptureFixture[str]
) -> None:
    heard: list[bytes] = []
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.on_message = lambda _client, _data, message: heard.append(message.payload)
    client.connect("127.0.0.1", mosquitto.port)
    client.subscribe(f"peakshade/{TERMINAL}/note", qos=1)
    client.loop_start()
    config = config_file(tmp_path, mosquitto.port)
    assert main(["note", "shade-on", "white sheet", "--by", "Ines", "--config", str(config)]) == 0
    wait_until(lambda: bool(heard), PATIENCE_S, "the note is delivered")
    client.disconnect()
    client.loop_stop()
    note = parse("note", heard[0])
    assert isinstance(note, Note)
    assert (note.kind, note.text, note.by, note.where) == ("shade-on", "white sheet", "Ines", None)
    assert abs(note.unix_s - time.time()) < PATIENCE_S
    assert f"noted: shade-on; to take it back: undo --id {note.id}" in capsys.readouterr().out


def test_a_note_is_taken_back_by_its_id_alone(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = str(config_file(tmp_path, free_port()))
    for words in (["undo"], ["rain", "--id", "3f2a"]):
        assert main(["note", *words, "--config", config]) == 2
        assert "takes a note back by its --id" in capsys.readouterr().err


def test_a_note_wants_to_know_the_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["note", "rain"]) == 2
    assert "--config van-1.toml" in capsys.readouterr().err


def test_a_note_that_nobody_made_cannot_be_taken_back(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    config = config_file(tmp_path, free_port())
    told(load_config(config, {}).store.path, 25.0)
    assert main(["note", "undo", "--id", "nope", "--config", str(config)]) == 2
    assert "no note has the id 'nope'" in capsys.readouterr().err


def test_a_note_that_cannot_be_delivered_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    config = config_file(tmp_path, free_port())
    assert main(["note", "rain", "--config", str(config)]) == 2
    assert "not delivered" in capsys.readouterr().err
    assert main(["note", "rain", "x" * 501, "--config", str(config)]) == 2
    assert "500 characters" in capsys.readouterr().err


def _broker(config: Config) -> Finding:
    return check_broker(config, asked_broker(config))


def test_check_finds_a_free_port_and_one_in_use(tmp_path: Path) -> None:
    config = config_for(tmp_path / "day.sqlite3", embedded_at(free_port()))
    assert _broker(config).fine
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        taken = replace(config, broker=embedded_at(other.getsockname()[1]))
        found = _broker(taken)
    assert not found.fine
    assert "[broker] port" in found.text
    absent = _broker(replace(config, broker=broker_at(free_port())))
    assert not absent.fine
    assert "does not let the agent in" in absent.text


@pytest.mark.mosquitto
def test_check_knows_another_broker(tmp_path: Path, mosquitto: Mosquitto) -> None:
    config = config_for(tmp_path / "day.sqlite3", mosquitto.settings)
    assert _broker(config).fine
    found = _broker(replace(config, broker=embedded_at(mosquitto.port)))
    assert not found.fine
    assert "another program's broker" in found.text


def test_check_looks_at_clock_disk_and_store(tmp_path: Path) -> None:
    config = config_for(tmp_path / "day.sqlite3", embedded_at(free_port()))
    config.path.write_text("")
    written_unix_s = config.path.stat().st_mtime
    during = replace(config.job.day, end_unix_s=written_unix_s + 100.0)
    later = replace(config, job=replace(config.job, day=during))
    assert check.check_clock(config.path, later, written_unix_s + 10.0).fine
    assert not check.check_clock(config.path, later, written_unix_s - 10.0).fine
    assert not check.check_clock(config.path, later, written_unix_s + 200.0).fine
    assert check.check_disk(config).fine
    assert check.check_store(config).fine
    nowhere = config_for(tmp_path / "none" / "day.sqlite3", embedded_at(free_port()))
    assert not check.check_disk(nowhere).fine
    config.store.path.write_text("not a store " * 100)
    assert "not an SQLite file" in check.check_store(config).text


def test_check_names_silent_inputs(tmp_path: Path) -> None:
    config = config_for(tmp_path / "day.sqlite3", embedded_at(free_port()))
    now_unix_s = at(0.0)
    readings: list[AnyReading] = [
        Temperature(unix_s=now_unix_s - 7200.0, where="modem", temperature_degc=40.0),
        Signal(unix_s=now_unix_s - 5.0, esno_db=9.0),
    ]
    with closing(StoreWriter.open(config.store.path, TERMINAL, now_unix_s)) as store:
        store.add(arrivals(readings), lambda reading, _: reading)
    found = {one.text: one.fine for one in check.check_inputs(config, now_unix_s)}
    assert found == {
        "temperature modem: silent for 2.0 h; start what publishes it, and the agent": False,
        "signal: heard 5 s ago": True,
    }


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--speed", "0"], "--speed is 0"),
        (["--from", "25:00"], "--from is '25:00'"),
        (["--from", "06:00"], "within the session"),
        (["--session", "nowhere"], "no bundled session"),
    ],
)
def test_demo_refuses_in_words(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["demo", *words]) == 2
    assert said in capsys.readouterr().err


def test_demo_from_the_middle_to_the_end(tmp_path: Path) -> None:
    """What came before is in the store, and an interrupted demo ends in an orderly way."""
    command = [sys.executable, "-m", "agent", "demo", "--no-dashboard", "--from", "12:30", "--speed", "1200"]
    process = subprocess.Popen(
        [*command, "--directory", str(tmp_path)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    lines: list[str] = []
    for line in process.stdout:
        lines.append(line)
        if "Re-peak the dish" in line and "raised" in line:
            break
    process.send_signal(signal.SIGINT)
    process.stdout.read()
    process.stdout.close()
    assert process.wait(PATIENCE_S) == 0
    assert "invented data" in lines[0]
    assert any("Shade the unit" in line and "raised" in line for line in lines)
    found = subprocess.run(
        [sys.executable, "-m", "agent", "status", "--store", str(tmp_path / "salt-pan-summer.sqlite3")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert found.returncode == 1
    assert "Re-peak the dish" in found.stdout
