"""The inputs of a config: an array of tables for each type, whose module is only loaded where it is used."""

import ssl
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

from agent.config import Config
from agent.config_check import Findings, read_section, report_unknown
from agent.errors import UsageError
from agent.extras import module_with_extra
from agent.inputs.collectors.frame import Collector

# Each module has the frozen record `Settings` and `make(settings, around) -> Collector | None`; None where
# it has noted in `around.findings` what is wrong.
MODULES: Mapping[str, str] = {
    "mqtt": "agent.inputs.devices.mqtt",
    "snmp": "agent.inputs.devices.snmp",
    "http": "agent.inputs.devices.http",
    "line": "agent.inputs.devices.line",
    "onewire": "agent.inputs.devices.onewire",
    "hwmon": "agent.inputs.devices.hwmon",
    "ups": "agent.inputs.devices.ups",
    "gnss": "agent.inputs.devices.gnss",
    "reachability": "agent.inputs.path.reachability",
    "counters": "agent.inputs.rates.counters",
    "http_rate": "agent.inputs.rates.http_rate",
    "iperf": "agent.inputs.rates.iperf",
}
# These read what only Linux shows, or with a library that only Linux has.
LINUX_ONLY = ("counters", "hwmon", "onewire", "snmp")


@dataclass(frozen=True, slots=True)
class Around:
    """What a collector is made with besides its own settings; `section` is its place in the config."""

    section: str
    config: Config
    environ: Mapping[str, str]
    findings: Findings


def secret_of(key: str, variable: str | None, around: Around) -> str | None:
    """The value of an environment variable that the config names, which never holds the secret itself.

    None where none is named, or with a note where it is not set.
    """
    if variable is None:
        return None
    value = around.environ.get(variable)
    if not value:
        around.findings.missing(
            around.section, key, f"an environment variable that is set; {variable} is not"
        )
        return None
    return value


def authority_of(ca_file: str | None, around: Around) -> Path | None:
    """The file of a private certificate authority; None where none is named, or with a note why not."""
    if ca_file is None:
        return None
    path = around.config.path.parent / ca_file
    try:
        ssl.create_default_context(cafile=str(path))
    except OSError as error:
        around.findings.add(around.section, "ca_file", ca_file, f"a PEM file that may be read ({error})")
        return None
    return path


@dataclass(frozen=True, slots=True)
class Misconfigured:
    """An input that cannot run, and a line for each thing to mend."""

    name: str
    lines: tuple[str, ...]


def inputs_of(config: Config, environ: Mapping[str, str]) -> tuple[list[Collector], list[Misconfigured]]:
    """The inputs of the config that can run, and those that cannot, which cost the others nothing."""
    found: list[Collector] = []
    wrong: list[Misconfigured] = []
    for name, kind, table in _named_tables(config, wrong):
        findings = Findings(str(config.path))
        try:
            made = _made(kind, table, Around(name, config, environ, findings))
        except UsageError as error:
            findings.lines.append(str(error))
            made = None
        if findings.lines or made is None:
            wrong.append(Misconfigured(name, tuple(findings.lines)))
        else:
            found.append(made)
    return found, wrong


def collectors_of(config: Config, environ: Mapping[str, str]) -> list[Collector]:
    """Every input of the config. Raises UsageError with one line for each thing to mend."""
    found, wrong = inputs_of(config, environ)
    if wrong:
        raise UsageError("\n".join(line for one in wrong for line in one.lines))
    return found


def _named_tables(
    config: Config, wrong: list[Misconfigured]
) -> Iterator[tuple[str, str, Mapping[str, object]]]:
    """Place in the config, type and keys of each input; what is no table of a known type goes to `wrong`."""
    findings = Findings(str(config.path))
    report_unknown("inputs", config.inputs, list(MODULES), findings)
    for kind in MODULES:
        for number, table in enumerate(_tables(kind, config.inputs.get(kind, []), findings), 1):
            yield f"inputs.{kind}[{number}]", kind, table
    if findings.lines:
        wrong.append(Misconfigured("inputs", tuple(findings.lines)))


def _tables(kind: str, value: object, findings: Findings) -> list[Mapping[str, object]]:
    tables: list[Mapping[str, object]] = (
        [one for one in value if isinstance(one, dict)] if isinstance(value, list) else []
    )
    if not isinstance(value, list) or len(tables) < len(value):
        findings.add("inputs", kind, value, f"tables [[inputs.{kind}]], in double brackets")
        return []
    return tables


def _made(kind: str, table: Mapping[str, object], around: Around) -> Collector | None:
    if kind in LINUX_ONLY and sys.platform != "linux":
        around.findings.add("inputs", kind, sys.platform, "a computer that runs Linux")
        return None
    module = input_module(kind)
    settings = read_section(module.Settings, around.section, table, around.findings)
    if settings is None:
        return None
    made: Collector | None = module.make(settings, around)
    return made


def input_module(kind: str) -> ModuleType:
    """The module of a type of input; raises UsageError where a library is missing that it needs."""
    return module_with_extra(MODULES[kind], f"inputs.{kind}")
