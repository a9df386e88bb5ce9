"""What `check` only does when asked for: tests of the rate, and alerts to people."""

import json
import re
import sys
from pathlib import Path

import pytest
from paho.mqtt import publish

from agent.cli import main
from agent.commands.broker_answer import asked_broker
from agent.commands.check import check_collectors
from agent.config import LOOPBACK
from agent.inputs.messages import status_message, status_topic
from tests.conftest import LayPlan
from tests.inputs.collectors.inputs_at_work import config_with
from tests.inputs.collectors.servers import TOKEN, responder
from tests.inputs.rates.test_iperf import server as iperf_server
from tests.processes import PATIENCE_S, Mosquitto, free_port, wait_until

WRITE = "import pathlib, sys; pathlib.Path(sys.argv[1]).write_bytes(sys.stdin.buffer.read())"


@pytest.fixture(autouse=True)
def planned(tmp_path: Path, lay_plan: LayPlan) -> None:
    """The plan is no matter of these tests."""
    lay_plan(tmp_path / "van-1.toml")


def lines(capsys: pytest.CaptureFixture[str], subject: str) -> list[str]:
    """What was printed about this."""
    return [line for line in capsys.readouterr().out.splitlines() if f" {subject} " in line]


def with_store(folder: Path, text: str) -> Path:
    """A config whose store, were there one, would lie in the folder."""
    own = f'[broker]\nport = {free_port()}\n[store]\npath = "{folder}/day.sqlite3"\n'
    return config_with(folder, text, own).path


def test_the_rate_is_tested_only_when_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RATE_TOKEN", TOKEN)
    port = free_port()
    text = f"""
[[inputs.http_rate]]
download_url = "http://{LOOPBACK}:{port}/down"
token_env = "RATE_TOKEN"
seconds = 1.0
flows = 1
window_bytes = 65536
test_mb = 10000.0
day_mb = 100000.0
"""
    config = with_store(tmp_path, text)
    main(["check", str(config)])
    (absent,) = lines(capsys, "input")
    assert absent.startswith("FINDING") and "Connect" in absent
    with responder(port, tmp_path, hour_mb=100_000.0):
        main(["check", str(config)])
        (answers,) = lines(capsys, "input")
        assert answers.startswith("ok") and "up to 10000 MB" in answers
        assert not (tmp_path / "day.sqlite3.tests.json").exists()

        def tested() -> bool:
            main(["check", str(config), "--rate-tests"])
            said = capsys.readouterr().out
            assert "take up to 10000 MB" in said.partition(" input ")[0]
            # On a quick loopback the rate may be what the windows allow, which is said instead of a reading.
            return (
                re.search(r" input .*(down_mbps|down [0-9.]+ Mbit/s is what \d+ windows)", said) is not None
            )

        wait_until(tested, PATIENCE_S, "a test of the rate")
    assert json.loads((tmp_path / "day.sqlite3.tests.json").read_text())["bytes"] > 0


def test_iperf3_still_serves_after_it_was_looked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = free_port()
    text = f'[[inputs.iperf]]\nhost = "{LOOPBACK}"\nport = {port}\nseconds = 1.0\nomit_s = 0.0\n'
    config = with_store(tmp_path, f"{text}test_mb = 10000.0\nday_mb = 100000.0\n")
    with iperf_server(port):
        main(["check", str(config)])
        assert "the server answers" in lines(capsys, "input")[0]

        def served() -> bool:
            main(["check", str(config), "--rate-tests"])
            # On a quick loopback the rate may be what the windows allow, which is said instead of a reading.
            said = lines(capsys, "input")[0]
            return re.search(r"up_mbps|up [0-9.]+ Mbit/s is what \d+ windows", said) is not None

        # The server may still be busy with the look, or the computer with other work.
        wait_until(served, PATIENCE_S, "a test of the rate")


def test_a_test_alert_goes_out_only_when_asked(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = tmp_path / "told.json"
    words = json.dumps([sys.executable, "-c", WRITE, str(told)])
    config = with_store(tmp_path, f"[notify]\ncommand = {words}\n")
    main(["check", str(config)])
    assert "--outlets" in lines(capsys, "outlet")[0]
    assert not told.exists()
    main(["check", str(config), "--outlets"])
    (line,) = lines(capsys, "outlet")
    assert line.startswith("ok") and "went out" in line
    alert = json.loads(told.read_bytes())
    assert (alert["rule"], alert["severity"]) == ("test", "advise")
    assert "only a test" in alert["action"]


def test_an_outlet_that_fails_is_a_finding(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = json.dumps([sys.executable, "-c", "import sys; sys.exit('no credit left')"])
    config = with_store(tmp_path, f"[notify]\ncommand = {words}\n")
    assert main(["check", str(config), "--outlets"]) == 1
    (line,) = lines(capsys, "outlet")
    assert line.startswith("FINDING") and "no credit left" in line


def test_a_running_agent_is_asked_of_the_inputs_that_it_holds(tmp_path: Path, mosquitto: Mosquitto) -> None:
    """Its serial port can be opened by nobody else meanwhile, so trying it again would say nothing."""
    input_text = """
[[inputs.line]]
address = "tcp://127.0.0.1:9"
pattern = '(?P<a>[0-9.]+)'
[inputs.line.readings.signal]
esno_db = "a"
"""
    broker = f'[broker]\nhost = "{LOOPBACK}"\nport = {mosquitto.port}\n'
    config = config_with(tmp_path, input_text, broker)
    inputs = {"name": "line x", "state": "ok", "readings": 12, "error": None, "finding": None}
    payload = status_message(1_784_367_000.0, "online", {}, collectors=[inputs])
    publish.single(status_topic("van-1"), payload, 1, True, LOOPBACK, mosquitto.port)
    (told,) = check_collectors(config, asked_broker(config), rate_tests=False)
    assert told.fine
    assert told.text == "line x: ok, 12 readings since the agent started (asked the running agent)"
