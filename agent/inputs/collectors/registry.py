"""The inputs of a config: an array of tables for each type, whose module is only loaded where it is used."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
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


def collectors_of(config: Config, environ: Mapping[str, str]) -> list[Collector]:
    """Every input of the config. Raises UsageError with one line for each thing to mend."""
    findings = Findings(str(config.path))
    report_unknown("inputs", config.inputs, list(MODULES), findings)
    made = [
        _made(kind, table, Around(f"inputs.{kind}[{number}]", config, environ, findings))
        for kind in MODULES
        for number, table in enumerate(_tables(kind, config.inputs.get(kind, []), findings), 1)
    ]
    if findings.lines:
        raise UsageError("\n".join(findings.lines))
    return [one for one in made if one is not None]


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
