"""Reads the config file of a terminal: the job, and where broker, store and dashboard are.

One TOML file; an environment variable `PEAKSHADE__SECTION__KEY` replaces one key. Everything that is wrong
is reported at once, one line each.
"""

import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from ipaddress import ip_address
from pathlib import Path
from typing import Annotated

from annotated_types import Interval, MaxLen, MinLen
from pydantic import SecretStr
from typing_extensions import TypeForm

from agent.config_check import (
    MASK,
    Findings,
    from_text,
    known_fields,
    read_section,
)
from agent.config_job import field_hint, read_job, table
from agent.config_notify import NotifySection, NotifySettings, read_notify
from agent.errors import UsageError
from agent.job import Job

ENVIRONMENT_PREFIX = "PEAKSHADE__"
LOOPBACK = "127.0.0.1"
MQTT_PORT = 1883  # IANA service name "mqtt".
MQTT_TLS_PORT = 8883  # IANA service name "secure-mqtt".
DASHBOARD_PORT = 8050
PASSCODE_VARIABLE = "PEAKSHADE_DASHBOARD_PASSCODE"
KEEP_RAW_DAYS = 90
# A clock set by hand is off by a minute or two, and the rules work on minutes: a larger error is refused.
CLOCK_TOLERANCE_S = 120.0
Host = Annotated[str, MinLen(1), MaxLen(253)]
Port = Annotated[int, Interval(ge=1, le=65_535)]
FilePath = Annotated[str, MinLen(1), MaxLen(4096)]


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSection:
    """[broker] as written; `embedded` defaults to true where no host is named."""

    embedded: bool | None = None
    host: Host | None = None
    port: Port | None = None
    tls: bool = False
    ca_file: FilePath | None = None
    username: Host | None = None
    password: FilePath | None = None
    password_file: FilePath | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreSection:
    """[store] as written."""

    path: FilePath = "peakshade.sqlite3"
    keep_raw_days: Annotated[int, Interval(ge=2, le=36_500)] = KEEP_RAW_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class DashboardSettings:
    """[dashboard]: where the crew's page is served, and the passcode for phones on the crew's network."""

    host: Host = LOOPBACK
    port: Port = DASHBOARD_PORT
    public_host: Host | None = None
    passcode_file: FilePath | None = None
    certificate: FilePath | None = None
    key: FilePath | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSection:
    """[clock]: how far a message's own time may be from the agent's clock."""

    tolerance_s: Annotated[float, Interval(ge=1.0, le=86_400.0)] = CLOCK_TOLERANCE_S


@dataclass(frozen=True, slots=True, kw_only=True)
class ForwardSection:
    """[forward] as written: the desk's broker; `account` is the terminal's name where it is not given."""

    host: Host
    port: Port | None = None
    tls: bool = True
    ca_file: FilePath | None = None
    account: Host | None = None
    password_file: FilePath | None = None
    day_mb: Annotated[float, Interval(ge=1.0, le=100_000.0)] = 5.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BrokerSettings:
    """The broker the agent talks to; an embedded one listens on `host` and `port`.

    Beyond this computer an embedded one has an account.
    """

    embedded: bool
    host: str
    port: int
    tls: bool
    username: str | None
    password: SecretStr | None
    # The authority that the broker's certificate is from, where it is a private one.
    ca_file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ForwardSettings:
    """[forward]: the desk's broker, and how many megabytes a day may go there besides alerts and notes."""

    broker: BrokerSettings
    day_mb: float


@dataclass(frozen=True, slots=True, kw_only=True)
class StoreSettings:
    """`keep_raw_days`: single readings; their minutes, alerts, notes and plans stay for good."""

    path: Path
    keep_raw_days: int = KEEP_RAW_DAYS


@dataclass(frozen=True, slots=True, kw_only=True)
class Config:
    """Everything the config file says, checked; relative paths are taken from the file's folder."""

    path: Path
    job: Job
    broker: BrokerSettings
    store: StoreSettings
    dashboard: DashboardSettings
    clock_tolerance_s: float
    rules: Path | None
    # As written: `agent.inputs.collectors.registry` checks them, each type by its own module.
    inputs: Mapping[str, object] = field(default_factory=dict)
    notify: NotifySettings = NotifySettings()
    forward: ForwardSettings | None = None


OTHER_SECTIONS = {
    "broker": BrokerSection,
    "store": StoreSection,
    "dashboard": DashboardSettings,
    "clock": ClockSection,
    "notify": NotifySection,
    "forward": ForwardSection,
}


def load_config(path: Path, environ: Mapping[str, str]) -> Config:
    """The config in the file `path` with the environment's replacements.

    Raises UsageError with one line for each thing to mend: file, key, value, what is allowed, likely slip.
    """
    tree = parsed(path)
    tree, origins = _with_environment(tree, environ)
    findings = Findings(str(path), origins)
    job = read_job(tree, findings)
    broker = read_broker(tree, path.parent, findings)
    store = read_section(StoreSection, "store", table(tree, "store"), findings)
    dashboard = read_dashboard(tree, path.parent, environ, findings)
    clock = read_section(ClockSection, "clock", table(tree, "clock"), findings)
    notify = read_notify(table(tree, "notify"), path.parent, findings)
    rules = _read_rules(tree, path.parent, findings)
    forward = _read_forward(tree, path.parent, findings)
    if findings.lines or job is None or broker is None or store is None or dashboard is None or clock is None:
        raise UsageError("\n".join(findings.lines))
    return Config(
        path=path,
        job=job,
        broker=broker,
        store=StoreSettings(path=path.parent / store.path, keep_raw_days=store.keep_raw_days),
        dashboard=dashboard,
        clock_tolerance_s=clock.tolerance_s,
        rules=rules,
        inputs=table(tree, "inputs"),
        notify=notify or NotifySettings(),
        forward=forward,
    )


def parsed(path: Path) -> dict[str, object]:
    """The file as it is written; raises UsageError."""
    try:
        # Editors on Windows put a byte-order mark in front.
        return tomllib.loads(path.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise UsageError(f"{path}: there is no such file; write one with: peakshade init {path}") from None
    except IsADirectoryError:
        raise UsageError(f"{path}: is a folder; name the config file in it") from None
    except PermissionError:
        raise UsageError(f"{path}: may not be read; check the file's permissions") from None
    except UnicodeDecodeError as error:
        raise UsageError(f"{path}: is not UTF-8 text (byte {error.start}); save it as UTF-8") from None
    except tomllib.TOMLDecodeError as error:
        raise UsageError(
            f"{path}: is not TOML: {error}; a decimal point is a dot, text stands in quotes, a key once"
        ) from None


def _with_environment(
    tree: Mapping[str, object], environ: Mapping[str, str]
) -> tuple[dict[str, object], dict[tuple[str, str], str]]:
    """The tree with the environment's values in it, and which variable each of those came from."""
    merged = {key: dict(value) if isinstance(value, dict) else value for key, value in tree.items()}
    origins: dict[tuple[str, str], str] = {}
    for name in sorted(environ):
        if not name.startswith(ENVIRONMENT_PREFIX):
            continue
        section, _, key = name.removeprefix(ENVIRONMENT_PREFIX).lower().rpartition("__")
        origins[section, key] = f"environment {name}"
        if not section:
            merged[key] = environ[name]
            continue
        values = merged.setdefault(section, {})
        if isinstance(values, dict):
            values[key] = from_text(_hint(section, key), environ[name])
    return merged, origins


def _hint(section: str, key: str) -> TypeForm[object]:
    kind = OTHER_SECTIONS.get(section)
    return field_hint(section, key) if kind is None else known_fields(kind).get(key, str)


def read_broker(tree: Mapping[str, object], folder: Path, findings: Findings) -> BrokerSettings | None:
    """[broker] as settings; None with what is wrong noted in `findings`."""
    section = read_section(BrokerSection, "broker", table(tree, "broker"), findings)
    if section is None:
        return None
    embedded = section.host is None if section.embedded is None else section.embedded
    if not embedded and section.host is None:
        findings.missing("broker", "host", "the name or address of the broker where embedded = false")
    _check_encryption(section, embedded, folder, findings)
    if section.password is not None and ("broker", "password") not in findings.origins:
        allowed = f"only the environment {ENVIRONMENT_PREFIX}BROKER__PASSWORD or broker.password_file"
        findings.add("broker", "password", MASK, allowed, "config files are copied into recorded sessions")
    password = section.password
    if password is None and section.password_file is not None:
        password = secret_from("broker", section.password_file, folder, findings)
    open_to_all = section.username is None or not password
    if embedded and open_to_all and not is_this_computer(section.host or LOOPBACK):
        wanted = (
            "a name, and password_file with its password, where the agent's own broker is reached from afar"
        )
        findings.missing("broker", "username", wanted)
    return BrokerSettings(
        embedded=embedded,
        host=section.host or LOOPBACK,
        port=section.port or (MQTT_TLS_PORT if section.tls else MQTT_PORT),
        tls=section.tls,
        username=section.username,
        password=None if password is None else SecretStr(password),
        ca_file=None if section.ca_file is None else folder / section.ca_file,
    )


def _read_forward(tree: Mapping[str, object], folder: Path, findings: Findings) -> ForwardSettings | None:
    if "forward" not in tree:
        return None
    section = read_section(ForwardSection, "forward", table(tree, "forward"), findings)
    if section is None:
        return None
    _check_authority("forward", section.ca_file, section.tls, folder, findings)
    secret = None
    if section.password_file is not None:
        secret = secret_from("forward", section.password_file, folder, findings)
    broker = BrokerSettings(
        embedded=False,
        host=section.host,
        port=section.port or (MQTT_TLS_PORT if section.tls else MQTT_PORT),
        tls=section.tls,
        username=section.account or str(tree.get("terminal")),
        password=None if secret is None else SecretStr(secret),
        ca_file=None if section.ca_file is None else folder / section.ca_file,
    )
    return ForwardSettings(broker=broker, day_mb=section.day_mb)


def _check_authority(section: str, ca_file: str | None, tls: bool, folder: Path, findings: Findings) -> None:
    if ca_file is not None and not (folder / ca_file).is_file():
        findings.add(section, "ca_file", ca_file, "a certificate file that exists, in PEM")
    if ca_file is not None and not tls:
        findings.add(section, "ca_file", ca_file, "only there where tls = true")


def _check_encryption(section: BrokerSection, embedded: bool, folder: Path, findings: Findings) -> None:
    if section.tls and embedded:
        advice = "only Mosquitto encrypts: peakshade init --mosquitto writes its config"
        findings.add("broker", "tls", True, "false where the broker is the agent's own", advice)
    _check_authority("broker", section.ca_file, section.tls, folder, findings)


def read_dashboard(
    tree: Mapping[str, object], folder: Path, environ: Mapping[str, str], findings: Findings
) -> DashboardSettings | None:
    section = read_section(DashboardSettings, "dashboard", table(tree, "dashboard"), findings)
    if section is None:
        return None
    section = _with_certificate(section, folder, findings)
    if section.passcode_file is not None:
        if not (folder / section.passcode_file).is_file():
            allowed = "a text file that exists and holds the passcode, seen from the config's folder"
            findings.add("dashboard", "passcode_file", section.passcode_file, allowed)
        return replace(section, passcode_file=str(folder / section.passcode_file))
    if not is_this_computer(section.host) and PASSCODE_VARIABLE not in environ:
        wanted = f"a text file with the passcode, or {PASSCODE_VARIABLE}, where host is not {LOOPBACK}"
        findings.missing("dashboard", "passcode_file", wanted)
    return section


def _with_certificate(section: DashboardSettings, folder: Path, findings: Findings) -> DashboardSettings:
    """Both or none, as files that exist."""
    certificate, key = section.certificate, section.key
    if certificate is None and key is None:
        return section
    for name, file in (("certificate", certificate), ("key", key)):
        if file is None:
            findings.missing("dashboard", name, "a file in PEM; certificate and key go together")
        elif not (folder / file).is_file():
            findings.add("dashboard", name, file, "a file in PEM that exists, seen from the config's folder")
    return replace(section, certificate=str(folder / (certificate or "")), key=str(folder / (key or "")))


def is_this_computer(host: str) -> bool:
    """Whether only programs on this computer reach what listens there."""
    try:
        return host == "localhost" or ip_address(host).is_loopback
    except ValueError:
        return False


def secret_from(section: str, name: str, folder: Path, findings: Findings) -> str | None:
    """The secret in a file; None, noted in `findings`, where it cannot be read."""
    try:
        return (folder / name).read_text(encoding="utf-8").strip(os.linesep)
    except (OSError, UnicodeDecodeError):
        findings.add(section, "password_file", name, "a text file that may be read and holds the password")
        return None


def _read_rules(tree: Mapping[str, object], folder: Path, findings: Findings) -> Path | None:
    if "rules" not in tree:
        return None
    rules = tree["rules"]
    if not isinstance(rules, str) or not (folder / rules).is_file():
        findings.add(
            "", "rules", rules, "the name of a rules file that exists, seen from the config's folder"
        )
        return None
    return folder / rules
