"""What is wrong with the inputs in a config is said at once, with section, key and what is allowed."""

import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest

from agent.errors import UsageError
from agent.inputs.collectors.registry import MODULES, collectors_of
from agent.inputs.collectors.running import Inputs
from tests.inputs.collectors.inputs_at_work import config_with

SIGNAL = "[inputs.{kind}.readings.signal]\nesno_db = {source}\n"


def complaints(folder: Path, inputs: str, environ: Mapping[str, str] | None = None) -> list[str]:
    with pytest.raises(UsageError) as caught:
        collectors_of(config_with(folder, inputs), environ or {})
    return str(caught.value).splitlines()


def with_signal(kind: str, settings: str, source: str) -> str:
    return f"[[inputs.{kind}]]\n{settings}\n{SIGNAL.format(kind=kind, source=source)}"


@pytest.mark.parametrize(
    ("inputs", "parts"),
    [
        ("[[inputs.sntp]]\nhost = 'a'\n", ["inputs.sntp", "did you mean snmp?"]),
        ("[inputs.snmp]\nhost = 'a'\n", ["inputs.snmp", "[[inputs.snmp]]"]),
        (with_signal("snmp", "hots = 'a'", "'1.3.6.1.0'"), ["inputs.snmp[1].hots", "did you mean host?"]),
        (with_signal("snmp", "host = 'a'", "'sysUpTime.0'"), ["object identifier in numbers"]),
        (with_signal("snmp", "host = 'a'\nport = 70000", "'1.3.6.1.0'"), ["port", "1 to 65535"]),
        (
            with_signal("snmp", "host = 'a'\nusername = 'u'\npassword_env = 'P'", "'1.3.6.1.0'"),
            ["password_env", "P is not"],
        ),
        ("[[inputs.snmp]]\nhost = 'a'\nreadings = {}\n", ["[[inputs.snmp.readings.signal]]"]),
        (with_signal("http", "url = 'ftp://a/'", "'/a'"), ["url", "http://"]),
        (with_signal("http", "url = 'http://me:secret@a/'", "'/a'"), ["without a password"]),
        (with_signal("http", "url = 'http://a/'", "'a'"), ["source", "JSON Pointer"]),
        (with_signal("http", "url = 'http://a/'\nusername = 'u'", "'/a'"), ["username and password_env"]),
        (with_signal("http", "url = 'http://a/'\nca_file = 'no.pem'", "'/a'"), ["ca_file"]),
        (with_signal("http", "url = 'http://a/'\nformat = 'text'", "'a'"), ["pattern", "named groups"]),
        (
            with_signal("http", "url = 'http://a/'\nformat = 'text'\npattern = '(?P<b'", "'b'"),
            ["pattern", "missing"],
        ),
        (
            with_signal("http", "url = 'http://a/'\nformat = 'text'\npattern = '(?P<b>.)'", "'a'"),
            ["source", "allowed is b"],
        ),
        (with_signal("mqtt", "topic = 'a/#/b'", "'/a'"), ["topic"]),
        (with_signal("mqtt", "topic = 'a'\nca_file = 'a.pem'", "'/a'"), ["ca_file", "with a host"]),
        (
            with_signal("mqtt", "topic = 'a'\nhost = 'a'\nca_file = 'van-1.toml'", "'/a'"),
            ["tls = true", "PEM"],
        ),
        (with_signal("mqtt", "topic = 'peakshade/van-1/signal'", "'/a'"), ["needs no map"]),
        (with_signal("line", "address = 'udp://a:1'\npattern = '(?P<a>.)'", "'a'"), ["address", "tcp://"]),
        (with_signal("line", "address = 'tcp://a:99999'\npattern = '(?P<a>.)'", "'a'"), ["address", "tcp://"]),
        ("[[inputs.gnss]]\naddress = 'tcp://a'\n", ["address", "tcp://"]),
        ("[[inputs.ups]]\nsupply = 'solar'\n", ["supply", '"mains" or "generator"']),
        ("[[inputs.ups]]\nsupply = 'mains'\nups = 'a b'\n", ["ups", "without spaces"]),
        ("[[inputs.onewire]]\nsensor = '28'\nwhere = 'modem'\n", ["sensor", "28-0316a2796cff"]),
        ("[[inputs.hwmon]]\nwhere = 'modem'\n", ["inputs.hwmon[1].chip is missing"]),
        (
            with_signal("http", "url = 'http://a/'", "{ source = '/a', unit = 'V' }"),
            ["unit", "one of dB"],
        ),
    ],
)  # fmt: skip
def test_every_slip_is_named(tmp_path: Path, inputs: str, parts: list[str]) -> None:
    found = "\n".join(complaints(tmp_path, inputs))
    assert all(part in found for part in parts), found
    assert "secret" not in found


def test_all_slips_at_once(tmp_path: Path) -> None:
    inputs = "[[inputs.hwmon]]\nchip = 'a'\n[[inputs.hwmon]]\nwhere = 'modem'\n[[inputs.gnss]]\nevery_s = 0\n"
    found = complaints(tmp_path, inputs)
    assert [line.split(": ")[1].split(" ")[0] for line in found] == [
        "inputs.hwmon[1].where", "inputs.hwmon[2].chip", "inputs.gnss[1].address", "inputs.gnss[1].every_s",
    ]  # fmt: skip


def test_a_config_without_inputs_loads_none_of_their_libraries(tmp_path: Path) -> None:
    """Checked in a process of its own, since other tests import them."""
    path = config_with(tmp_path, "").path
    script = (
        "import sys, pathlib, agent.service.live, agent.config, agent.inputs.collectors.running as r\n"
        f"config = agent.config.load_config(pathlib.Path({str(path)!r}), {{}})\n"
        "assert r.Inputs(config, {}, lambda: 0.0).states == []\n"
        "print(*[n for n in ('gufo', 'h11', 'serial', 'jsonpointer') if n in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout.split() == []


@pytest.mark.parametrize("kind", MODULES)
def test_a_missing_library_is_named_with_its_cure(tmp_path: Path, kind: str) -> None:
    """As where the package was installed without its extra."""
    optional = ("gufo", "h11", "serial", "jsonpointer")
    script = (
        "import sys\n"
        f"for name in {optional}: sys.modules[name] = None\n"
        "from agent.errors import UsageError\n"
        "from agent.inputs.collectors.registry import input_module\n"
        f"try: input_module({kind!r})\n"
        "except UsageError as error: print(error)"
    )
    found = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert found.stdout == "" or "pip install 'peakshade[devices]'" in found.stdout


@pytest.mark.parametrize("kind", ["onewire", "snmp"])
def test_what_only_linux_has_says_so_elsewhere(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    (line,) = complaints(tmp_path, f"[[inputs.{kind}]]\n")
    assert f'inputs.{kind} = "win32"' in line
    assert line.endswith("a computer that runs Linux")


def test_a_misconfigured_input_stops_only_itself(tmp_path: Path) -> None:
    good = with_signal("http", "url = 'http://a/'", "'/a'")
    bad = "[[inputs.hwmon]]\nwhere = 'modem'\n[[inputs.sntp]]\nhost = 'a'\n"
    locked = with_signal("snmp", "host = 'a'\nusername = 'u'\npassword_env = 'P'", "'1.3.6.1.0'")
    inputs = Inputs(config_with(tmp_path, good + bad + locked), {}, lambda: 0.0)
    states = {one.name: (one.state, one.error) for one in inputs.states}
    assert states["http a"][0] == "starting"
    assert "chip is missing" in (states["inputs.hwmon[1]"][1] or "")
    assert "P is not" in (states["inputs.snmp[1]"][1] or "")
    assert "did you mean snmp?" in (states["inputs"][1] or "")
    assert [state for state, _ in states.values()].count("failing") == 3
