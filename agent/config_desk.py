"""Reads the config file of a desk: its broker, its database, how many workers, and where its pages are."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from annotated_types import Interval
from pydantic import SecretStr

from agent.config import (
    BrokerSection,
    BrokerSettings,
    DashboardSettings,
    FilePath,
    parsed,
    read_broker,
    read_dashboard,
    secret_from,
)
from agent.config_check import Findings, read_section, read_value, report_unknown
from agent.config_job import table
from agent.errors import UsageError

# As libpq has it, in a list of words or in an address.
_PASSWORD = re.compile(r"password\s*=|://[^/@]*:[^/@]*@")


@dataclass(frozen=True, slots=True, kw_only=True)
class DatabaseSection:
    """[database] as written: a connection string of PostgreSQL's own (libpq), without the password."""

    connect: FilePath
    password_file: FilePath | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskDatabase:
    """Where the desk's store is."""

    connect: str
    password: SecretStr | None = None

    def __str__(self) -> str:
        return self.connect


@dataclass(frozen=True, slots=True, kw_only=True)
class DeskConfig:
    """Everything the desk's config says, checked."""

    path: Path
    workers: int
    broker: BrokerSettings
    database: DeskDatabase
    dashboard: DashboardSettings


Workers = Annotated[int, Interval(ge=1, le=64)]
DESK_SECTIONS = {"broker": BrokerSection, "database": DatabaseSection, "dashboard": DashboardSettings}
WORKERS = "workers"


def load_desk_config(path: Path, environ: Mapping[str, str]) -> DeskConfig:
    """Raises UsageError with one line for each thing to mend."""
    tree, findings = parsed(path), Findings(str(path))
    report_unknown("", tree, [WORKERS, *DESK_SECTIONS], findings)
    broker = read_broker(tree, path.parent, findings)
    if broker is not None and broker.embedded:
        findings.missing("broker", "host", "the name or address of the desk's broker, such as a Mosquitto")
    dashboard = read_dashboard(tree, path.parent, environ, findings)
    database = _read_database(tree, path.parent, findings)
    workers = read_value(Workers, "", WORKERS, {WORKERS: 2, **tree}, findings)
    if findings.lines or broker is None or dashboard is None or database is None:
        raise UsageError("\n".join(findings.lines))
    return DeskConfig(
        path=path,
        workers=workers if isinstance(workers, int) else 0,
        broker=broker,
        database=database,
        dashboard=dashboard,
    )


def _read_database(tree: Mapping[str, object], folder: Path, findings: Findings) -> DeskDatabase | None:
    section = read_section(DatabaseSection, "database", table(tree, "database"), findings)
    if section is None:
        return None
    if _PASSWORD.search(section.connect):
        allowed = "a connection string without the password, which stands in password_file or a .pgpass file"
        findings.add("database", "connect", "********", allowed)
    secret = None
    if section.password_file is not None:
        secret = secret_from("database", section.password_file, folder, findings)
    return DeskDatabase(connect=section.connect, password=None if secret is None else SecretStr(secret))
