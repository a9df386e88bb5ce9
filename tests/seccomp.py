"""`python -m tests.seccomp UNIT COMMAND...`: a command with the system calls that a unit of systemd leaves.

As systemd does it, by libseccomp, which it needs itself. See systemd.exec(5), SystemCallFilter=.
"""

import ctypes
import errno
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

# seccomp.h of libseccomp 2.5.
KILL, ALLOW, ERRNO = 0x80000000, 0x7FFF0000, 0x00050000
# linux/prctl.h: without it only root may load a filter.
PR_SET_NO_NEW_PRIVS = 38


def groups() -> dict[str, list[str]]:
    """What stands for a name with @, of systemd itself."""
    listed = subprocess.run(["systemd-analyze", "syscall-filter"], capture_output=True, text=True, check=True)
    found: dict[str, list[str]] = {}
    for line in listed.stdout.splitlines():
        if line.startswith("@"):
            members = found[line.split()[0]] = []
        elif line.startswith(" ") and not line.strip().startswith("#"):
            members.append(line.split()[0])
    return found


def calls(name: str, known: dict[str, list[str]]) -> Iterator[str]:
    """The calls of a group, and of those in it."""
    if not name.startswith("@"):
        yield name
        return
    for member in known[name]:
        yield from calls(member, known)


def allowed(unit: dict[str, list[str]]) -> set[str]:
    """By a list of what is allowed, and one of what is not all the same."""
    known = groups()
    given, taken = unit["SystemCallFilter"]
    left = {one for name in given.split() for one in calls(name, known)}
    return left - {one for name in taken.removeprefix("~").split() for one in calls(name, known)}


def restrict(unit: dict[str, list[str]]) -> None:
    """From now on, and for all that is started."""
    library = ctypes.CDLL("libseccomp.so.2")
    library.seccomp_init.restype = ctypes.c_void_p
    number = unit.get("SystemCallErrorNumber")
    rules = ctypes.c_void_p(
        library.seccomp_init(KILL if number is None else ERRNO | getattr(errno, number[0]))
    )
    for name in allowed(unit):
        call = library.seccomp_syscall_resolve_name(name.encode())
        if call >= 0:
            library.seccomp_rule_add_array(rules, ALLOW, call, 0, None)
    ctypes.CDLL(None).prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)
    assert library.seccomp_load(rules) == 0


def read(path: Path) -> dict[str, list[str]]:
    """The values of each key."""
    found: dict[str, list[str]] = {}
    for line in path.read_text().splitlines():
        key, _, value = line.partition("=")
        found.setdefault(key, []).append(value)
    return found


if __name__ == "__main__":
    restrict(read(Path(sys.argv[1])))
    os.execvp(sys.argv[2], sys.argv[2:])
