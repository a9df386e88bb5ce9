"""Every check of the project: `python -m tests`, in a virtual environment.

Installs what the tests need (Debian packages where apt-get may be used, Python packages into this
environment), then runs the linter, the type checker and the test suite. Needs nothing but Python itself.
"""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from ctypes.util import find_library
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
# Most tests wait for programs. Those of one file may share a program and stay together.
SIDE_BY_SIDE = ["-n", "3", "--dist", "loadfile"]
# Field computers run Linux, crews' laptops often the others, which are only checked here.
PLATFORMS = ("linux", "win32", "darwin")
# What the tests run against for real, and the Debian package that brings it.
DEBIAN_PACKAGES = {
    "mosquitto": "mosquitto",
    "openssl": "openssl",
    "chromium": "chromium",
    "firefox-esr": "firefox-esr",
    "WebKitWebDriver": "webkit2gtk-driver",
    "xvfb-run": "xvfb",
    "dbus-run-session": "dbus-daemon",
    "pdftoppm": "poppler-utils",
    "iperf3": "iperf3",
    "tc": "iproute2",
    "snmpd": "snmpd",
    "upsd": "nut-server",
    "pg_ctlcluster": "postgresql",
}
# The same for libraries: what makes the PDF of a report loads these.
DEBIAN_LIBRARIES = {"pangoft2-1.0": "libpangoft2-1.0-0", "harfbuzz-subset": "libharfbuzz-subset0"}


def run(step: str, command: Sequence[str], **extra_environment: str) -> int:
    """Run one step from the project's folder; its exit code."""
    print(f"== {step}", flush=True)
    start_s = time.monotonic()
    code = subprocess.run(command, cwd=ROOT, env=os.environ | extra_environment, check=False).returncode
    print(
        f"== {step}: {'ok' if code == 0 else f'failed ({code})'}, {time.monotonic() - start_s:.0f} s",
        flush=True,
    )
    return code


def install_debian_packages() -> None:
    """Install the missing programs; where that is not possible, their tests skip themselves by name."""
    missing = [package for program, package in DEBIAN_PACKAGES.items() if shutil.which(program) is None]
    missing += [package for library, package in DEBIAN_LIBRARIES.items() if find_library(library) is None]
    if not missing:
        return
    apt = shutil.which("apt-get")
    if apt is None or os.geteuid() != 0:
        print(f"== not installed here: {', '.join(missing)}; tests that need them are skipped", flush=True)
        return
    quiet = {"DEBIAN_FRONTEND": "noninteractive", "RUNLEVEL": "1"}  # runlevel 1: no service is started
    run("apt-get update", [apt, "update", "-q"], **quiet)
    run("apt-get install", [apt, "install", "-q", "-y", "--no-install-recommends", *missing], **quiet)


def main() -> int:
    """Exit code 0 when everything passed."""
    install_debian_packages()
    python = sys.executable
    pip = [python, "-m", "pip", "install", "-q", "--disable-pip-version-check"]
    if code := run("pip install", [*pip, "-c", "requirements.lock", "-e", ".[test]"]):
        return code
    codes = [
        run("ruff check", [python, "-m", "ruff", "check", "."]),
        run("ruff format", [python, "-m", "ruff", "format", "--check", "."]),
        *(run(f"mypy --platform {name}", [python, "-m", "mypy", "--platform", name]) for name in PLATFORMS),
        run("pytest", [python, "-m", "pytest", *SIDE_BY_SIDE, *sys.argv[1:]]),
    ]
    return max(codes)


if __name__ == "__main__":
    sys.exit(main())
