"""The dashboard as the agent starts it: from the config, with links for phones, without secrets in sight."""

import subprocess
import sys
from dataclasses import replace
from pathlib import Path

from pydantic import SecretStr

from agent.config import Config, DashboardSettings
from agent.service.page import page_environment, page_options
from dashboard.__main__ import BROKER_PASSWORD_VARIABLE, PASSCODE_VARIABLE
from dashboard.access.gate import make_gate
from tests.live import config_for
from tests.processes import PATIENCE_S, broker_at, free_port, listens, wait_until

PASSCODE = "salt-pan-2026"


def config(folder: Path) -> Config:
    """A page that phones may reach, and a broker that wants to know who speaks."""
    (folder / "passcode.txt").write_text(PASSCODE)
    broker = replace(broker_at(free_port()), tls=True, username="crew", password=SecretStr("dry-lake"))
    page = DashboardSettings(
        port=free_port(), public_host="192.0.2.7", passcode_file=str(folder / "passcode.txt")
    )
    return replace(config_for(folder / "store.sqlite3", broker), dashboard=page)


def test_no_secret_stands_on_the_command_line(tmp_path: Path) -> None:
    made = config(tmp_path)
    options = page_options(made, 1.0)
    assert "--mqtt-tls" in options and options[options.index("--mqtt-username") + 1] == "crew"
    assert not {"dry-lake", PASSCODE} & set(options)
    assert page_environment(made)[BROKER_PASSWORD_VARIABLE] == "dry-lake"


def test_links_for_phones_are_printed(tmp_path: Path) -> None:
    made = config(tmp_path)
    printed = tmp_path / "printed.txt"
    environment = {name: text for name, text in page_environment(made).items() if name != PASSCODE_VARIABLE}
    command = [sys.executable, "-m", "dashboard", *page_options(made, 1.0)]
    with printed.open("w") as out, subprocess.Popen(command, stdout=out, env=environment) as process:
        try:
            wait_until(lambda: listens(made.dashboard.port), PATIENCE_S, "the dashboard listens")
        finally:
            process.terminate()
    links = [line.split("link=")[1] for line in printed.read_text().splitlines() if "link=" in line]
    assert f"http://192.0.2.7:{made.dashboard.port}/enter" in printed.read_text()
    assert [make_gate(PASSCODE).role(link) for link in links] == ["crew", "guest"]
