"""Any value in any field of any kind, key of the config or column of a session: taken, or refused by name."""

import json
import tomllib
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from agent.config import OTHER_SECTIONS, Config, load_config
from agent.errors import UsageError
from agent.inputs.collectors.registry import MODULES, input_module, inputs_of
from agent.inputs.payloads import PayloadError, parse
from agent.records import CSV_STEMS, SENT_KINDS
from agent.replay.labels import COLUMNS, labels_from_csv
from agent.replay.session_csv import readings_from_csv
from agent.replay.spreadsheet import csv_of
from agent.store.schema import own_fields
from tests.inputs.any_readings import json_values
from tests.job_text import JOB_TOML

# What breaks programs that trust what they read.
TEXTS = ("", " ", "nan", "1e999", "\x00", "9" * 5000, "=1+1", "\u00ff\u202e")
NASTY = st.sampled_from([0, -1, 1e308, -1e308, 2**63, 10**400, *TEXTS, [], {}])
ANYTHING = json_values | NASTY
CELLS = st.text(max_size=12) | st.floats().map(str) | NASTY.map(str)
FIELDS = [(kind, field) for kind in SENT_KINDS for field in ("time", "sent_time", *own_fields(kind))]


@pytest.mark.parametrize(("kind", "field"), FIELDS)
@given(data=st.data())
@settings(max_examples=25)
def test_any_value_in_any_field_of_a_message(kind: str, field: str, data: st.DataObject) -> None:
    value = data.draw(ANYTHING)
    body = {"time": 1.8e9, **dict(_minimal(kind)), field: value}
    try:
        reading = parse(kind, json.dumps(body).encode())
    except PayloadError as error:
        assert kind in str(error)
        str(error).encode()
    else:
        assert type(reading).__name__.lower().startswith(kind[:5])


def _minimal(kind: str) -> dict[str, object]:
    """What a reading of this kind cannot do without."""
    return {
        "signal": {"esno_db": 9.0},
        "throughput": {"method": "active", "down_mbps": 1.0},
        "reach": {"rtt_ms": 600.0},
        "temperature": {"where": "modem", "temperature_degc": 20.0},
        "power": {"source": "mains"},
        "note": {"kind": "other"},
        "acknowledge": {"rule": "shade"},
    }.get(kind, {})


def _settings() -> list[tuple[str, str]]:
    tree = tomllib.loads(JOB_TOML)
    job = [(section, key) for section, table in tree.items() if isinstance(table, dict) for key in table]
    return job + [(name, item.name) for name, kind in OTHER_SECTIONS.items() for item in fields(kind)]


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, int | float):
        return repr(value)
    # A basic string of TOML: JSON's escapes, and the delete character which JSON leaves bare.
    return json.dumps(value if isinstance(value, str) else "x", ensure_ascii=True).replace("\x7f", "\\u007f")


@pytest.mark.parametrize(("section", "key"), _settings())
@given(value=NASTY | st.booleans() | st.integers(-(2**62), 2**62) | st.floats() | st.text(max_size=20))
@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_value_of_any_setting(tmp_path: Path, section: str, key: str, value: object) -> None:
    if isinstance(value, int) and abs(value) >= 2**63:
        value = 2**62
    tree = tomllib.loads(JOB_TOML)
    tree.setdefault(section, {})[key] = value
    lines = [f"{name} = {_toml(one)}" for name, one in tree.items() if not isinstance(one, dict)]
    for name, table in tree.items():
        if isinstance(table, dict):
            lines += [f"[{name}]", *(f"{own} = {_toml(one)}" for own, one in table.items())]
    path = tmp_path / "job.toml"
    path.write_bytes("\n".join(lines).encode("utf-8", "surrogatepass"))
    try:
        load_config(path, {})
    except UsageError as error:
        assert str(path) in str(error)


INPUT_KEYS = [(kind, item.name) for kind in MODULES for item in fields(input_module(kind).Settings)]


@pytest.mark.parametrize(("kind", "key"), INPUT_KEYS)
@given(value=ANYTHING)
@settings(max_examples=6, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_value_of_any_key_of_an_input(a_config: Config, kind: str, key: str, value: object) -> None:
    config = replace(a_config, inputs={kind: [{key: value}]})
    found, wrong = inputs_of(config, {})
    assert len(found) + len(wrong) == 1
    assert all(line.startswith(str(config.path)) for one in wrong for line in one.lines)


@pytest.fixture
def a_config(tmp_path: Path) -> Config:
    path = tmp_path / "job.toml"
    path.write_text(JOB_TOML)
    return load_config(path, {})


@given(st.lists(st.lists(CELLS, min_size=4, max_size=4), max_size=3))
@settings(max_examples=60)
def test_any_cell_of_the_labels(rows: list[list[str]]) -> None:
    try:
        labels_from_csv(csv_of([COLUMNS, *rows]), "labels.csv")
    except UsageError as error:
        assert "labels.csv" in str(error)


@pytest.mark.parametrize("kind", SENT_KINDS)
@given(data=st.data())
@settings(max_examples=60)
def test_any_cell_of_any_column(kind: str, data: st.DataObject) -> None:
    columns = ("time", *own_fields(kind))
    rows = data.draw(st.lists(st.lists(CELLS, min_size=len(columns), max_size=len(columns)), max_size=3))
    quoted = [",".join('"' + cell.replace('"', '""') + '"' for cell in row) for row in rows]
    text = "\n".join([",".join(columns), *quoted, ""])
    try:
        readings_from_csv(kind, text, f"{CSV_STEMS[kind]}.csv")
    except UsageError as error:
        assert CSV_STEMS[kind] in str(error)
