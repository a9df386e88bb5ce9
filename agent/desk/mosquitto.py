"""Everything that a desk's Mosquitto needs: its config, rights, certificate, and an account a terminal."""

from collections.abc import Sequence
from pathlib import Path

from agent.config_check import Findings
from agent.config_job import check_setting
from agent.errors import UsageError
from agent.inputs.messages import batch_topic, desk_topic
from agent.inputs.mosquitto import (
    ACCOUNTS,
    CERTIFICATE,
    CONFIG,
    RIGHTS,
    account_files,
    broker_section,
    keeping_text,
    listening_text,
    make_certificate,
    new_account,
    new_folder,
    password_file,
    write_secrets,
)

DESK = "desk"
# A connection a terminal and a worker; each takes some kilobytes.
MAX_CONNECTIONS = 20_000
# Each terminal's account has the terminal's name.
DESK_RIGHTS = f"""\
user {DESK}
topic read {batch_topic("+")}
topic write {desk_topic("+", "#")}

pattern write {batch_topic("%u")}
pattern read {desk_topic("%u", "#")}
"""


def write_desk_files(host: str, port: int, folder: Path) -> str:
    """Write everything into a new folder; returns the [broker] section for the desk's config.

    `host` is the name or address by which terminals and workers reach the computer. Raises UsageError.
    """
    folder, desk = new_folder(folder), new_account(DESK)
    make_certificate(host, folder)
    config = listening_text("a desk", port, folder) + keeping_text(folder, MAX_CONNECTIONS)
    write_secrets(folder, {CONFIG: config, RIGHTS: DESK_RIGHTS, **account_files((desk,))})
    return broker_section(host, port, folder, desk)


def add_accounts(folder: Path, terminals: Sequence[str]) -> None:
    """An account with a password file for each; raises UsageError where one is there already, adding none."""
    path = folder / ACCOUNTS
    try:
        before = path.read_text(encoding="utf-8")
    except OSError as error:
        raise UsageError(
            f"{path}: cannot be read ({error.strerror}); name a folder made by this command"
        ) from None
    check_names(terminals, {line.partition(":")[0] for line in before.splitlines()})
    files = account_files([new_account(name) for name in terminals])
    write_secrets(folder, {**files, ACCOUNTS: before + files[ACCOUNTS]})


def check_names(terminals: Sequence[str], known: set[str]) -> None:
    """Raises UsageError for what can be no terminal's name, or has an account already."""
    findings = Findings("--accounts")
    for name in terminals:
        check_setting("", "terminal", name, findings)
        if name in known:
            findings.add("", "terminal", name, "a name that has no account yet")
        known = known | {name}
    if findings.lines:
        raise UsageError("\n".join(findings.lines))


def forward_section(host: str, port: int) -> str:
    """[forward] of a terminal's config, with its certificate and password file beside it."""
    return (
        f'[forward]\nhost = "{host}"\nport = {port}\nca_file = "{CERTIFICATE}"\n'
        f'password_file = "{password_file("TERMINAL")}"\n'
    )
