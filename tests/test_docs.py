"""The documents name everything that exists, and their tables say what the code says."""

import re
import shlex
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import get_args

import pytest

from agent.cli import COMMANDS
from agent.config import MQTT_TLS_PORT, OTHER_SECTIONS
from agent.config_desk import DESK_SECTIONS, load_desk_config
from agent.config_template import SETTINGS
from agent.inputs.collectors.registry import MODULES, collectors_of, input_module
from agent.job import Job
from agent.records import KINDS, SENT_KINDS, Reading
from agent.watch.rules import PARAMETERS, RULES
from tests.__main__ import main as run_every_check
from tests.inputs.collectors.inputs_at_work import config_with

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text()
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text()


def rules_table() -> str:
    """Every parameter as a row of a Markdown table; DEVELOPERS.md has to hold it."""
    rows = [
        f"| {item.name.split('.')[0]} | {item.name.split('.')[1]} | {item.value:g} | {item.unit} "
        f"| {item.low:g} to {item.high:g} | {item.reason} |"
        for item in PARAMETERS
    ]
    return "\n".join(["| rule | key | default | unit | range | reason |", "|---|---|---|---|---|---|", *rows])


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme(command: str) -> None:
    assert f"| `{command}` |" in README


@pytest.mark.parametrize("rule", RULES)
def test_every_rule_is_in_the_readme(rule: str) -> None:
    assert re.search(rf"^\|[^|]*`{rule}`", README, re.MULTILINE)


@pytest.mark.parametrize("kind", SENT_KINDS)
def test_every_field_of_every_message_is_in_the_readme(kind: str) -> None:
    row = next(line for line in README.splitlines() if line.startswith(f"| {kind} |"))
    known = {item.name for item in fields(KINDS[kind])} - {item.name for item in fields(Reading)}
    assert known <= set(re.findall(r"[a-z0-9_]+", row))


def test_the_table_of_rules_is_current() -> None:
    """To renew it: python -c "from tests.test_docs import rules_table; print(rules_table())"."""
    assert rules_table() in DEVELOPERS


def settings_of_the_job() -> list[str]:
    """section.key of everything in a job."""
    found = []
    for section in fields(Job):
        kinds = [one for one in (section.type, *get_args(section.type)) if is_dataclass(one)]
        if not kinds:
            found.append(section.name)
        for kind in kinds:
            found.extend(f"{section.name}.{key.name.removesuffix('_unix_s')}" for key in fields(kind))
    return found


def test_every_setting_is_documented() -> None:
    """By the config that `init` writes, or by the table of optional settings."""
    templated = {setting.name for setting in SETTINGS}
    optional = [f"{name}.{key.name}" for name, kind in OTHER_SECTIONS.items() for key in fields(kind)]
    for name in [*settings_of_the_job(), *optional, "rules"]:
        assert name in templated or f"`{name}`" in DEVELOPERS, name


@pytest.mark.parametrize("kind", MODULES)
def test_every_setting_of_every_input_is_documented(kind: str) -> None:
    row = next(line for line in DEVELOPERS.splitlines() if line.startswith(f"| `inputs.{kind}` |"))
    items = fields(input_module(kind).Settings)
    assert {item.name for item in items} <= set(re.findall(r"[a-z0-9_]+", row))
    needed = {item.name for item in items if item.default is MISSING and item.default_factory is MISSING}
    assert needed == set(re.findall(r"\*\*([a-z0-9_]+)\*\*", row))


def test_the_example_of_inputs_is_sound(tmp_path: Path) -> None:
    text = DEVELOPERS.partition("## Inputs")[2].partition("```toml\n")[2].partition("```")[0]
    made = collectors_of(config_with(tmp_path, text), {"MODEM_PASSWORD": "salt-pan"})
    assert [one.name for one in made] == ["http modem", "line /dev/ttyUSB0", "onewire transmitter"]


def test_the_example_of_a_desk_is_sound(tmp_path: Path) -> None:
    text = DEVELOPERS.partition("## One desk")[2].partition("```toml\n")[2].partition("```")[0]
    for name in ("certificate.pem", "desk.password"):
        (tmp_path / name).touch()
    path = tmp_path / "desk.toml"
    path.write_text(text)
    assert load_desk_config(path, {}).broker.port == MQTT_TLS_PORT


@pytest.mark.parametrize("section", DESK_SECTIONS)
def test_every_setting_of_a_desk_is_documented(section: str) -> None:
    assert f"`{section}." in DEVELOPERS or f"[{section}]" in DEVELOPERS
    for item in fields(DESK_SECTIONS[section]):
        assert item.name in DEVELOPERS


def test_the_readme_fits_its_first_screens() -> None:
    assert len(README.splitlines()) <= 120


def test_the_readme_has_the_command_that_runs_every_check() -> None:
    line = next(line for line in README.splitlines() if "-m tests" in line)
    assert shlex.split(line)[-2:] == ["-m", "tests"]
    assert callable(run_every_check)


def test_the_lock_file_has_versions_and_no_addresses() -> None:
    lines = [
        line for line in (ROOT / "requirements.lock").read_text().splitlines() if not line.startswith("#")
    ]
    assert lines
    assert all(re.fullmatch(r"[A-Za-z0-9._-]+==[A-Za-z0-9.!+]+", line) for line in lines)
