"""Two hosts in network namespaces with a satellite between them: by netem, or by delay_line and tbf."""

import ctypes
import itertools
import os
import shutil
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

import pytest

from tests.processes import PATIENCE_S, wait_until

ROOT = Path(__file__).resolve().parents[3]
RTT_S = 0.6
RATE_MBIT = 4
NEAR, FAR = "10.213.77.1", "10.213.77.2"
# Half a second to a second is what a modem's buffer holds; here so much that nothing is lost.
QUEUE_BYTES = 2_000_000
COUNTER = itertools.count()
CLONE_NEWNET = 0x40000000  # <linux/sched.h>

ResultT = TypeVar("ResultT")


def ip(*words: str) -> None:
    """The system's `ip` command."""
    subprocess.run(["ip", *words], check=True, capture_output=True, text=True)


def why_not() -> str | None:
    """Why no such path can be made here; None where it can."""
    if not sys.platform.startswith("linux"):
        return "network namespaces need Linux"
    if os.geteuid() != 0:
        return "network namespaces need root"
    if shutil.which("ip") is None or shutil.which("tc") is None:
        return "no ip and tc on the path (Debian package: iproute2)"
    return None


@contextmanager
def satellite_path(delay_s: float = RTT_S / 2.0) -> Iterator[tuple[str, str]]:
    """The namespaces' names: the terminal's, with address NEAR, and the far host's, with address FAR."""
    reason = why_not()
    if reason is not None:
        pytest.skip(reason)
    number = f"{os.getpid()}x{next(COUNTER)}"
    names = f"ps{number}near", f"ps{number}far"
    made: list[str] = []
    try:
        for name in names:
            made_one = subprocess.run(["ip", "netns", "add", name], capture_output=True, text=True)
            if made_one.returncode:
                pytest.skip(f"no network namespace can be made here: {made_one.stderr.strip()}")
            made.append(name)
            ip("-n", name, "link", "set", "lo", "up")
        with _joined(names, delay_s):
            yield names
    finally:
        for name in made:
            ip("netns", "del", name)


@contextmanager
def _joined(names: tuple[str, str], delay_s: float) -> Iterator[None]:
    near, far = (f"p{end}{os.getpid()}x{next(COUNTER)}" for end in "nf")
    ip("link", "add", near, "netns", names[0], "type", "veth", "peer", "name", far, "netns", names[1])
    delay = ["netem", "delay", f"{delay_s * 1e3:.0f}ms", "rate", f"{RATE_MBIT}mbit", "limit", "10000"]
    if all(_shaped(name, device, delay) for name, device in zip(names, (near, far), strict=True)):
        _up(names, (near, far))
        yield
        return
    ip("-n", names[0], "link", "del", near)
    if not Path("/dev/net/tun").exists():
        pytest.skip("the kernel has neither netem nor /dev/net/tun")
    line = subprocess.Popen(
        [sys.executable, "-m", "tests.inputs.rates.delay_line", near, far, str(delay_s)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    try:
        assert line.stdout is not None
        assert line.stdout.readline() == "open\n"
        for name, device in zip(names, (near, far), strict=True):
            ip("link", "set", device, "netns", name)
        _up(names, (near, far))
        bucket = ["tbf", "rate", f"{RATE_MBIT}mbit", "burst", "16kb", "limit", str(QUEUE_BYTES)]
        if not all(_shaped(name, device, bucket) for name, device in zip(names, (near, far), strict=True)):
            pytest.skip("the kernel has neither netem nor tbf")
        yield
    finally:
        line.kill()
        line.wait()
        assert line.stdout is not None
        line.stdout.close()


def _shaped(name: str, device: str, discipline: list[str]) -> bool:
    words = ["tc", "-n", name, "qdisc", "add", "dev", device, "root", *discipline]
    return subprocess.run(words, capture_output=True).returncode == 0


def _up(names: tuple[str, str], devices: tuple[str, str]) -> None:
    addresses = ((NEAR, FAR), (FAR, NEAR))
    for name, device, (own, peer) in zip(names, devices, addresses, strict=True):
        ip("-n", name, "address", "add", own, "peer", peer, "dev", device)
        ip("-n", name, "link", "set", device, "up")


def within(name: str, call: Callable[[], ResultT], timeout_s: float = 2.0 * PATIENCE_S) -> ResultT:
    """The result of `call`, run in a thread of its own that lives in the namespace."""
    found: list[ResultT] = []
    errors: list[BaseException] = []

    def work() -> None:
        try:
            with open(f"/run/netns/{name}") as namespace:
                libc = ctypes.CDLL(None, use_errno=True)
                if libc.setns(namespace.fileno(), CLONE_NEWNET):
                    raise OSError(ctypes.get_errno(), "setns")
            found.append(call())
        except BaseException as error:
            errors.append(error)

    thread = threading.Thread(target=work)
    thread.start()
    thread.join(timeout_s)
    assert not thread.is_alive(), f"not within {timeout_s:g} s"
    if errors:
        raise errors[0]
    return found[0]


@contextmanager
def program_within(name: str, command: list[str], port: int) -> Iterator[subprocess.Popen[bytes]]:
    """A program in a namespace, which listens on a TCP port."""
    process = subprocess.Popen(["ip", "netns", "exec", name, *command], stdout=subprocess.DEVNULL, cwd=ROOT)
    try:
        wait_until(lambda: f":{port} " in _listening(name), PATIENCE_S, f"{command[0]} listens")
        yield process
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def _listening(name: str) -> str:
    words = ["ip", "netns", "exec", name, "ss", "-Hltn"]
    return subprocess.run(words, check=True, capture_output=True, text=True).stdout
