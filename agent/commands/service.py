"""`peakshade service`: the agent as a service of systemd, which starts it with the computer."""

import argparse
import os
import shutil
import subprocess
import sys
from pathlib import Path

from agent.commands.config_argument import add_config, config_path
from agent.config import load_config
from agent.errors import UsageError
from agent.service.console import say
from agent.service.systemd import unit_name, unit_text

SUMMARY = "install or remove the agent as a service of systemd"
EXAMPLE = "peakshade service install van-1.toml  (as root)"
UNITS = Path("/etc/systemd/system")
USER = "peakshade"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What to do, and for which terminal."""
    parser.add_argument("what", choices=("install", "remove", "show"), help="show: print the unit file only")
    add_config(parser)
    parser.add_argument("--user", default=USER, help="whose service it is (%(default)s; made where missing)")


def run(args: argparse.Namespace) -> int:
    """Write or remove the unit; systemd itself is asked to take note."""
    config = load_config(config_path(args), os.environ)
    path = UNITS / unit_name(config.job)
    if args.what == "show":
        say(unit_text(config, args.user).rstrip("\n"))
        return 0
    if shutil.which("systemctl") is None or not _is_root():
        raise UsageError(
            "service install and remove need root and systemd; without systemd let whatever starts programs"
            f" there run: peakshade run {config.path} (it ends at SIGTERM; start it again when it fails)"
        )
    if args.what == "remove":
        _systemctl("disable", "--now", path.name)
        path.unlink(missing_ok=True)
        _systemctl("daemon-reload")
        say(f"{path} removed; {config.path.parent} stays as it is")
        return 0
    _hand_over(config.path.resolve().parent, args.user)
    path.write_text(unit_text(config, args.user), encoding="utf-8")
    _systemctl("daemon-reload")
    _systemctl("enable", "--now", path.name)
    say(f"{path} written and started; its log: journalctl -u {path.stem}")
    return 0


def _is_root() -> bool:
    return sys.platform != "win32" and os.geteuid() == 0


def _hand_over(folder: Path, user: str) -> None:
    """The folder and the files right in it become the user's."""
    if subprocess.run(["id", user], capture_output=True, check=False).returncode != 0:
        command = ["useradd", "--system", "--no-create-home", "--shell", "/usr/sbin/nologin", user]
        subprocess.run(command, check=True)
    for place in (folder, *(one for one in folder.iterdir() if one.is_file() and not one.is_symlink())):
        shutil.chown(place, user)


def _systemctl(*words: str) -> None:
    answer = subprocess.run(["systemctl", *words], capture_output=True, text=True, check=False)
    if answer.returncode != 0:
        say(f"systemctl {' '.join(words)}: {answer.stderr.strip() or answer.returncode}")
