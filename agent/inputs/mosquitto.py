"""Everything that a Mosquitto needs: its config, accounts, rights and certificate; here for one terminal.

Mosquitto is the broker for more than the crew's own computer: it encrypts, and gives each account its topics.
"""

import base64
import hashlib
import secrets
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path

from agent.config import LOOPBACK
from agent.errors import UsageError
from agent.inputs.broker.wire import MAX_PACKET_BYTES
from agent.inputs.messages import ALERT, STATUS, TOPIC_ROOT, reading_topic
from agent.inputs.mqtt import MAX_IN_FLIGHT
from agent.records import SENT_KINDS

AGENT, DEVICE = "agent", "device"
# What only the agent's account may say: the crew speaks through its pages.
OF_THE_CREW = {"note", "acknowledge"}
# Eight hours without the agent, at five readings a second, and some.
MAX_QUEUED = 200_000
MAX_CONNECTIONS = 100
# Mosquitto's own form of a password (mosquitto_passwd): PBKDF2 with SHA-512; turns, salt and hash.
_TURNS = 20_000
_SALT_BYTES = 12

CONFIG, ACCOUNTS, RIGHTS = "mosquitto.conf", "accounts", "rights"
CERTIFICATE, KEY = "certificate.pem", "key.pem"
_LISTENING_TEXT = """# Mosquitto 2 for {whose}. Start it with: mosquitto -c {folder}/mosquitto.conf
listener {port}
certfile {folder}/{certificate}
keyfile {folder}/{key}
tls_version tlsv1.2
allow_anonymous false
password_file {folder}/{accounts}
acl_file {folder}/{rights}
"""
_KEEPING_TEXT = """
# What was acknowledged survives the broker, but for the last milliseconds: it writes at the end of each turn.
persistence true
persistence_location {folder}/
autosave_on_changes true
autosave_interval 1
persistent_client_expiration 14d

# What comes while the agent is away waits; one client cannot fill the memory.
max_queued_messages {queued}
max_inflight_messages {in_flight}
max_packet_size {packet}
max_connections {connections}
"""
_RIGHTS_TEXT = """# The agent (and through it pages and commands) hears all, and speaks for its own terminal.
user {agent}
topic read #
topic readwrite {root}/{terminal}/#

# Devices publish measurements of this terminal and nothing else, and hear what the agent says.
user {device}
{measurements}
topic read {root}/{terminal}/{alert}/#
topic read {root}/{terminal}/{status}

# A device that speaks in words of its own ([[inputs.mqtt]] in the config) wants a line like:
# topic write garden/weather/#
"""


@dataclass(frozen=True, slots=True)
class Account:
    """A name with its password in the clear, which goes into a file of its own."""

    name: str
    password: str

    def line(self) -> str:
        """As Mosquitto's file of accounts has it."""
        salt = secrets.token_bytes(_SALT_BYTES)
        digest = hashlib.pbkdf2_hmac("sha512", self.password.encode(), salt, _TURNS)
        return f"{self.name}:$7${_TURNS}${_in_64(salt)}${_in_64(digest)}\n"


def new_account(name: str) -> Account:
    """With a password that nobody guesses."""
    return Account(name, secrets.token_urlsafe(18))


def listening_text(whose: str, port: int, folder: Path) -> str:
    """Where it listens, and whom it lets in; `folder` holds the other files."""
    names = {"certificate": CERTIFICATE, "key": KEY, "accounts": ACCOUNTS, "rights": RIGHTS}
    return _LISTENING_TEXT.format(whose=whose, port=port, folder=folder, **names)


def keeping_text(folder: Path, connections: int = MAX_CONNECTIONS) -> str:
    """What it keeps, where, and how much of it, of how many."""
    return _KEEPING_TEXT.format(
        folder=folder,
        queued=MAX_QUEUED,
        in_flight=MAX_IN_FLIGHT,
        packet=MAX_PACKET_BYTES,
        connections=connections,
    )


def rights_text(terminal: str, agent: Account, device: Account) -> str:
    """Which account may publish and hear what."""
    measured = sorted(set(SENT_KINDS) - OF_THE_CREW)
    return _RIGHTS_TEXT.format(
        agent=agent.name,
        device=device.name,
        root=TOPIC_ROOT,
        terminal=terminal,
        measurements="\n".join(f"topic write {reading_topic(terminal, kind)}" for kind in measured),
        alert=ALERT,
        status=STATUS,
    )


def write_files(terminal: str, host: str, port: int, folder: Path) -> str:
    """Write everything into a new folder; returns the [broker] section for the terminal's config.

    `host` is the name or address by which agent and devices reach the computer. Raises UsageError.
    """
    folder = new_folder(folder)
    agent, device = (new_account(f"{terminal}-{role}") for role in (AGENT, DEVICE))
    make_certificate(host, folder)
    write_secrets(
        folder,
        {
            CONFIG: listening_text(terminal, port, folder) + keeping_text(folder),
            RIGHTS: rights_text(terminal, agent, device),
            **account_files((agent, device)),
        },
    )
    return broker_section(host, port, folder, agent)


def new_folder(folder: Path) -> Path:
    """The folder, made, by its full name; raises UsageError."""
    try:
        folder.mkdir(mode=0o700)
    except OSError as error:
        raise UsageError(
            f"{folder}: cannot be made ({error.strerror}); name a folder that does not exist"
        ) from None
    return folder.resolve()


def write_secrets(folder: Path, texts: Mapping[str, str]) -> None:
    """Files that their owner alone may read."""
    for name, text in texts.items():
        (folder / name).touch(mode=0o600)
        (folder / name).write_text(text, encoding="utf-8")


def account_files(accounts: Sequence[Account]) -> dict[str, str]:
    """Mosquitto's file of these accounts, and each one's password in a file of its own."""
    return {
        ACCOUNTS: "".join(one.line() for one in accounts),
        **{password_file(one.name): f"{one.password}\n" for one in accounts},
    }


def password_file(account: str) -> str:
    """The name of the file with an account's password."""
    return f"{account}.password"


def broker_section(host: str, port: int, folder: Path, account: Account) -> str:
    """[broker] of a config that uses this account."""
    return (
        f'[broker]\nhost = "{host}"\nport = {port}\ntls = true\nca_file = "{folder / CERTIFICATE}"\n'
        f'username = "{account.name}"\npassword_file = "{folder / password_file(account.name)}"\n'
    )


def make_certificate(host: str, folder: Path) -> None:
    """A certificate of `host` and this computer that vouches for itself, for ten years. Raises UsageError."""
    kind = "IP" if _is_address(host) else "DNS"
    command = [
        "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
        "-days", "3650", "-subj", "/CN=peakshade", "-addext",
        f"subjectAltName={kind}:{host},DNS:localhost,IP:{LOOPBACK}",
        "-keyout", str(folder / KEY), "-out", str(folder / CERTIFICATE),
    ]  # fmt: skip
    try:
        made = subprocess.run(command, capture_output=True, text=True, check=False)
    except FileNotFoundError:
        raise UsageError("the certificate is made by openssl, which is not installed; install it") from None
    if made.returncode != 0:
        raise UsageError(f"openssl makes no certificate for {host}: {made.stderr.strip()[-200:]}")


def _is_address(host: str) -> bool:
    try:
        ip_address(host)
    except ValueError:
        return False
    return True


def _in_64(data: bytes) -> str:
    return base64.b64encode(data).decode()
