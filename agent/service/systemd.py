"""The agent as a service of systemd: its unit (systemd.exec(5)), its word that it lives (sd_notify(3))."""

import asyncio
import os
import socket
import sys
from pathlib import Path

from agent.config import Config
from agent.job import Job

WATCHDOG_S = 60
_UNIT_TEXT = """# Written by: peakshade service install
[Unit]
Description=peakshade watches {terminal}
After=network.target time-sync.target

[Service]
Type=notify
User={user}
WorkingDirectory={folder}
ExecStart={python} -P -m agent run {config}
Restart=on-failure
RestartSec=2
WatchdogSec={watchdog}
TimeoutStopSec=15
StandardOutput=journal
StandardError=journal

# It reads its config's folder, writes there and nowhere else, and has no rights beyond its own user's.
UMask=0077
ReadWritePaths={folder}
ProtectSystem=strict
ProtectHome={home}
PrivateTmp=yes
{devices}
PrivateUsers=yes
ProtectProc=invisible
ProcSubset=pid
ProtectClock=yes
ProtectControlGroups=yes
ProtectHostname=yes
ProtectKernelLogs=yes
ProtectKernelModules=yes
ProtectKernelTunables=yes
NoNewPrivileges=yes
CapabilityBoundingSet=
AmbientCapabilities=
LockPersonality=yes
MemoryDenyWriteExecute=yes
RemoveIPC=yes
RestrictAddressFamilies=AF_INET AF_INET6 AF_UNIX AF_NETLINK
RestrictNamespaces=yes
RestrictRealtime=yes
RestrictSUIDSGID=yes
SystemCallArchitectures=native
SystemCallFilter=@system-service
SystemCallFilter=~@privileged @resources
# Libraries try what is left out (numpy: mbind) and do without; nothing is to be killed for it.
SystemCallErrorNumber=EPERM

[Install]
WantedBy=multi-user.target
"""
_NO_DEVICES = "PrivateDevices=yes\nDevicePolicy=closed"
# Serial lines of USB adapters, of modems at USB, and of boards.
_SERIAL_LINES = "DevicePolicy=closed\n" + "\n".join(
    f"DeviceAllow=char-{name} rw" for name in ("ttyUSB", "ttyACM", "ttyS", "ttyAMA")
)
_AT_LINES = ("line", "gnss")


def unit_name(job: Job) -> str:
    """One service a terminal."""
    return f"peakshade-{job.terminal}.service"


def unit_text(config: Config, user: str) -> str:
    """The unit file for this config. Its folder is the service's to write in."""
    path = config.path.resolve()
    needs_home = any(str(place).startswith(("/home/", "/root/")) for place in (path, Path(sys.prefix)))
    serial = any(kind in config.inputs for kind in _AT_LINES)
    return _UNIT_TEXT.format(
        terminal=config.job.terminal,
        user=user,
        folder=_escaped(path.parent),
        config=_escaped(path),
        python=_escaped(Path(sys.executable)),
        watchdog=WATCHDOG_S,
        home="read-only" if needs_home else "yes",
        devices=_SERIAL_LINES if serial else _NO_DEVICES,
    )


def _escaped(path: Path) -> str:
    """systemd.syntax(7): a percent sign is doubled, a space written as an escape."""
    return str(path).replace("%", "%%").replace(" ", "\\x20")


async def tell_systemd() -> None:
    """Say that the agent is ready, and then that it lives, until cancelled; nothing where nobody asked."""
    address = os.environ.get("NOTIFY_SOCKET")
    if address is None:
        return
    _notify(address, "READY=1")
    while True:
        _notify(address, "WATCHDOG=1")
        await asyncio.sleep(WATCHDOG_S / 3.0)


def _notify(address: str, word: str) -> None:
    if sys.platform != "win32":
        # A name that begins with @ is one of Linux's abstract ones.
        name = f"\0{address[1:]}" if address.startswith("@") else address
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as one:
            one.sendto(word.encode(), name)
