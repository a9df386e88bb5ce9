"""Who may look: anybody on this computer; over a network only with the passcode or a link made from it.

The passcode is kept only as a salted hash (scrypt, RFC 7914). Links and cookies are signed with a key derived
from it and the same random salt, which stands beside the store: they outlive a restart, end when they say,
and all when the passcode changes. Two roles: the crew reads and answers, a guest (the producer) only reads.
"""

import hashlib
import hmac
import ipaddress
import secrets
import threading
import time
from collections import OrderedDict, deque
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from itsdangerous import BadSignature, URLSafeSerializer

Role = Literal["crew", "guest"]

COOKIE = "peakshade"
# A day of work with its evening.
VALID_S = 86_400
# Ten wrong passcodes of one sender in a minute close the door to that one for the rest of it.
TRIES = 10
TRIES_SPAN_S = 60.0
# Senders that are remembered; a network of the crew has some dozens.
SENDERS = 1000
SHORTEST_PASSCODE = 8
SALT_BYTES = 16
# RFC 7914's parameters, a set of OWASP's Password Storage Cheat Sheet (from memory): 32 MiB, some 0.3 s.
COST = {"n": 2**15, "r": 8, "p": 3, "maxmem": 2**26}
_HALF = 32


@dataclass(slots=True)
class Gate:
    """Checks passcodes, links and cookies; remembers only the times of wrong passcodes, by sender."""

    salt: bytes
    digest: bytes
    signer: URLSafeSerializer
    failures_s: OrderedDict[str, deque[float]] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def closed(self, sender: str) -> bool:
        """Were there too many wrong passcodes of this sender in the last minute?"""
        with self.lock:
            times_s = self.failures_s.get(sender, deque())
            while times_s and time.monotonic() - times_s[0] > TRIES_SPAN_S:
                times_s.popleft()
            return len(times_s) >= TRIES

    def accepts(self, passcode: str, sender: str) -> bool:
        """Is it the passcode? A wrong one counts; while the door is closed the right one is refused too."""
        if self.closed(sender):
            return False
        right = hmac.compare_digest(_scrypt(passcode, self.salt)[:_HALF], self.digest)
        if not right:
            with self.lock:
                self.failures_s.setdefault(sender, deque(maxlen=TRIES)).append(time.monotonic())
                self.failures_s.move_to_end(sender)
                if len(self.failures_s) > SENDERS:
                    self.failures_s.popitem(last=False)
        return right

    def sign(self, role: Role, ends_unix_s: float, terminal: str | None = None) -> str:
        """A token for the role until then, of this terminal alone or of all, for a link or a cookie."""
        return str(self.signer.dumps([role, round(ends_unix_s), *([] if terminal is None else [terminal])]))

    def opened(self, token: str | None) -> tuple[Role, float] | None:
        """Role and end of a token; None where it is missing, forged or over."""
        match self._read(token):
            case [("crew" | "guest") as role, int(ends_unix_s), *_] if time.time() < ends_unix_s:
                return role, ends_unix_s
        return None

    def terminal(self, token: str | None) -> str | None:
        """The only terminal that a token is good for, None where it is for all."""
        match self._read(token):
            case [_, _, str(terminal)]:
                return terminal
        return None

    def _read(self, token: str | None) -> object:
        try:
            return None if token is None else self.signer.loads(token)
        except BadSignature:
            return None


def make_gate(passcode: str, salt: bytes) -> Gate:
    """The gate for this passcode."""
    hashed = _scrypt(passcode, salt)
    return Gate(salt=salt, digest=hashed[:_HALF], signer=URLSafeSerializer(hashed[_HALF:]))


def gate_of(store: Path, passcode: str) -> Gate:
    """The gate of this store's pages, whose salt stands beside it; OSError where that is not possible."""
    path = store.with_name(f"{store.name}.salt")
    if not path.exists() or path.stat().st_size != SALT_BYTES:
        path.touch(mode=0o600)
        path.write_bytes(secrets.token_bytes(SALT_BYTES))
    return make_gate(passcode, path.read_bytes())


def is_loopback(host: str) -> bool:
    """Does the address or name mean this computer only?"""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _scrypt(passcode: str, salt: bytes) -> bytes:
    return hashlib.scrypt(passcode.encode(), salt=salt, dklen=2 * _HALF, **COST)
