"""Alerts on their way out: real programs, apprise against a real HTTP server, and both when they fail."""

import asyncio
import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from threading import Thread

import aiomqtt
import pytest

from agent.clock import Clock, played_clock
from agent.config import LOOPBACK
from agent.config_notify import NotifySettings
from agent.errors import UsageError
from agent.inputs.messages import status_topic
from agent.inputs.player import play
from agent.service.live import run_agent
from agent.service.outlets import Command, Notifier, Services, notifier_of
from agent.watch.rules import RULES
from tests.live import TERMINAL, config_for, embedded_at, sample_agent
from tests.processes import PATIENCE_S, broker_at, free_port
from tests.test_notify import NOON_UNIX_S, POLICY, alert
from tests.watch.sample_day import HOUR_S, full_day

DAY = full_day()
WRITE = "import pathlib, sys; pathlib.Path(sys.argv[1]).write_bytes(sys.stdin.buffer.read())"


def clock() -> Clock:
    """Noon at the site."""
    return played_clock(NOON_UNIX_S, 1.0)


def notifier(folder: Path, *outlets: Command | Services) -> Notifier:
    """One with these ways out."""
    named = {f"way {number}": outlet for number, outlet in enumerate(outlets, 1)}
    return Notifier(POLICY, named, folder / "notified.json", clock())


def run_until(made: Notifier, true: Callable[[], bool]) -> None:
    """Run the notifier until it is so."""

    async def run() -> None:
        task = asyncio.create_task(made.run())
        deadline_s = asyncio.get_running_loop().time() + PATIENCE_S
        while not true():
            assert not task.done(), task
            assert asyncio.get_running_loop().time() < deadline_s, made.as_json()
            await asyncio.sleep(0.02)
        task.cancel()
        await asyncio.wait([task])

    asyncio.run(run())


def states(made: Notifier) -> list[str]:
    """How the ways out fare."""
    return [str(one["state"]) for one in made.as_json() if isinstance(one, dict)]


def test_a_command_gets_the_alert_as_json(tmp_path: Path) -> None:
    told = tmp_path / "told.json"
    made = notifier(tmp_path, Command([sys.executable, "-c", WRITE, str(told)]))
    made.hear([alert()])
    run_until(made, lambda: states(made) == ["ok"])
    message = json.loads(told.read_bytes())
    assert (message["rule"], message["severity"], message["state"]) == ("shade", "act", "raised")
    assert message["action"] == "put the cover on"


def test_no_shell_reads_the_words(tmp_path: Path) -> None:
    told = tmp_path / "a b; touch c $(touch d)"
    made = notifier(tmp_path, Command([sys.executable, "-c", WRITE, str(told)]))
    made.hear([alert()])
    run_until(made, lambda: states(made) == ["ok"])
    assert told.exists()
    assert {one.name for one in tmp_path.iterdir()} == {told.name, "notified.json"}


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["/nowhere/tell"], "No such file"),
        ([sys.executable, "-c", "import sys; sys.exit('no credit left')"], "no credit left"),
        ([sys.executable, "-c", "import sys; sys.exit('x' * 10_000_000 + ' the end')"], "the end"),
        (["/bin/false"], "without a word"),
    ],
)
def test_a_way_that_fails_is_told_and_counted(tmp_path: Path, words: list[str], said: str) -> None:
    made = notifier(tmp_path, Command(words))
    made.hear([alert()])
    run_until(made, lambda: states(made) == ["failing"])
    (state,) = made.as_json()
    assert isinstance(state, dict)
    assert said in str(state["error"])
    assert state["failures"] == 1


def test_a_way_that_hangs_holds_up_no_other(tmp_path: Path) -> None:
    told = tmp_path / "told.json"
    hangs = Command([sys.executable, "-c", "import time; time.sleep(600)"])
    made = notifier(tmp_path, hangs, Command([sys.executable, "-c", WRITE, str(told)]))
    made.hear([alert()])
    run_until(made, lambda: states(made) == ["starting", "ok"])


def test_a_restart_repeats_nothing(tmp_path: Path) -> None:
    told = tmp_path / "told.json"
    command = Command([sys.executable, "-c", WRITE, str(told)])
    made = notifier(tmp_path, command)
    made.hear([alert()])
    run_until(made, lambda: states(made) == ["ok"] and (tmp_path / "notified.json").exists())
    told.unlink()
    again = notifier(tmp_path, command)
    again.hear([alert(), alert("repeak")])
    run_until(again, lambda: states(again) == ["ok"])
    assert json.loads(told.read_bytes())["rule"] == "repeak"


def test_a_damaged_memory_costs_a_repetition_and_no_more(tmp_path: Path) -> None:
    (tmp_path / "notified.json").write_text("[")
    told = tmp_path / "told.json"
    made = notifier(tmp_path, Command([sys.executable, "-c", WRITE, str(told)]))
    made.hear([alert()])
    run_until(made, lambda: states(made) == ["ok"])


@contextmanager
def service(status: int) -> Iterator[tuple[int, list[dict[str, str]]]]:
    """Port of a server that takes JSON, and what it took."""
    taken: list[dict[str, str]] = []

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            taken.append(json.loads(self.rfile.read(int(self.headers["Content-Length"]))))
            self.send_response(status)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            """Nothing."""

    server = HTTPServer((LOOPBACK, 0), Handler)
    thread = Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        yield server.server_port, taken
    finally:
        server.shutdown()
        server.server_close()
        thread.join(PATIENCE_S)


def test_apprise_brings_it_to_a_service(tmp_path: Path) -> None:
    """Its JSON service posts title and message (apprise's documentation, "JSON HTTP POST")."""
    with service(200) as (port, taken):
        made = notifier(tmp_path, Services("van-1", [f"json://{LOOPBACK}:{port}/"]))
        made.hear([alert()])
        run_until(made, lambda: states(made) == ["ok"])
    assert (taken[0]["title"], taken[0]["message"]) == (
        "van-1: Shade the unit (act)",
        "put the cover on\ntwo hours of sun",
    )


def test_a_service_that_refuses_is_told(tmp_path: Path) -> None:
    with service(503) as (port, _):
        made = notifier(tmp_path, Services("van-1", [f"json://{LOOPBACK}:{port}/"]))
        made.hear([alert()])
        run_until(made, lambda: states(made) == ["failing"])


def test_an_address_that_apprise_does_not_know_is_told_without_it() -> None:
    with pytest.raises(UsageError, match="line 2") as refused:
        Services("van-1", [f"json://{LOOPBACK}/", "nothing://s3cret"])
    assert "s3cret" not in str(refused.value)


def test_what_the_config_names_is_made(tmp_path: Path) -> None:
    urls = tmp_path / "urls.txt"
    urls.write_text(f"# ours\n\njson://{LOOPBACK}/\n")
    config = config_for(tmp_path / "store.sqlite3", broker_at(1883))
    assert notifier_of(config, clock()) is None
    both = replace(config, notify=NotifySettings(command=("tell",), urls_file=urls))
    made = notifier_of(both, clock())
    assert made is not None
    assert [one["name"] for one in made.as_json() if isinstance(one, dict)] == [
        "notify command",
        "notify services",
    ]


def test_the_agent_tells_and_shows_its_ways_out(tmp_path: Path) -> None:
    """A played morning: what the engine raises goes out, and the status names the way."""
    told = tmp_path / "told.json"
    broker = embedded_at(free_port())
    made = sample_agent(tmp_path / "day.sqlite3", broker, played_clock(DAY[0].unix_s, 1800.0))
    way = {"notify command": Command([sys.executable, "-c", WRITE, str(told)])}
    policy = replace(POLICY, quiet=None, min_severity="advise")
    agent = replace(made, notifier=Notifier(policy, dict(way), tmp_path / "notified.json", made.clock))
    assert agent.notifier is not None
    stop = asyncio.Event()
    shown: list[str] = []

    async def crew() -> None:
        async with aiomqtt.Client(broker.host, broker.port) as client:
            await client.subscribe(status_topic(TERMINAL), qos=1)
            async for message in client.messages:
                collectors = json.loads(bytes(message.payload)).get("collectors", [])
                shown.extend(one["name"] for one in collectors)

    async def device() -> None:
        morning = [one for one in DAY if one.unix_s < DAY[0].unix_s + HOUR_S]
        await play(broker, TERMINAL, morning, agent.clock)  # type: ignore[arg-type]
        deadline_s = asyncio.get_running_loop().time() + PATIENCE_S
        while not (told.exists() and shown):
            assert asyncio.get_running_loop().time() < deadline_s, agent.notifier
            await asyncio.sleep(0.05)
        stop.set()

    tasks = {"notify": agent.notifier.run, "crew": crew, "device": device}
    asyncio.run(run_agent(agent, stop, tasks))
    assert set(shown) == {"notify command"}
    assert json.loads(told.read_bytes())["rule"] in RULES
