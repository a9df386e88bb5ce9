"""Who may look: anybody on this computer; over a network only with the passcode or a link made from it.

The passcode is kept only as a salted hash (scrypt, RFC 7914). Links and cookies are signed with a key derived
from it, so that they outlive a restart and end when the passcode changes. There are two roles: the crew reads
and answers, a guest (the producer) only reads.
"""

import hashlib
import hmac
import ipaddress
import secrets
import threading
import time
from collections import deque
from dataclasses import dataclass, field
from typing import Literal

from itsdangerous import BadSignature, URLSafeTimedSerializer

Role = Literal["crew", "guest"]

COOKIE = "peakshade"
# A day of work with its evening.
VALID_S = 86_400
# Ten wrong passcodes in a minute, from wherever, close the door for the rest of it.
TRIES = 10
TRIES_SPAN_S = 60.0
SHORTEST_PASSCODE = 8
# RFC 7914 section 2 with N = 2**14, r = 8, p = 1: 16 MiB and some 50 ms on a field computer.
_SCRYPT_N, _SCRYPT_R, _SCRYPT_P = 2**14, 8, 1
# The signing key must be the same after a restart, so its salt is fixed; the hash's salt is random.
_KEY_SALT = b"peakshade dashboard links and cookies"


@dataclass(slots=True)
class Gate:
    """Checks passcodes, links and cookies; remembers only the times of wrong passcodes."""

    salt: bytes
    digest: bytes
    signer: URLSafeTimedSerializer
    failures_s: deque[float] = field(default_factory=deque)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def closed(self) -> bool:
        """Were there too many wrong passcodes in the last minute?"""
        with self.lock:
            while self.failures_s and time.monotonic() - self.failures_s[0] > TRIES_SPAN_S:
                self.failures_s.popleft()
            return len(self.failures_s) >= TRIES

    def accepts(self, passcode: str) -> bool:
        """Is it the passcode? A wrong one counts; while the door is closed the right one is refused too."""
        if self.closed():
            return False
        right = hmac.compare_digest(_scrypt(passcode, self.salt), self.digest)
        if not right:
            with self.lock:
                self.failures_s.append(time.monotonic())
        return right

    def sign(self, role: Role) -> str:
        """A token for the role, for a link or a cookie."""
        return self.signer.dumps(role)

    def role(self, token: str | None) -> Role | None:
        """The role of a token; None where it is missing, forged or a day old."""
        try:
            return None if token is None else _ROLES.get(self.signer.loads(token, max_age=VALID_S))
        except BadSignature:
            return None


_ROLES: dict[str, Role] = {"crew": "crew", "guest": "guest"}


def make_gate(passcode: str) -> Gate:
    """The gate for this passcode."""
    salt = secrets.token_bytes(16)
    key = _scrypt(passcode, _KEY_SALT)
    return Gate(salt=salt, digest=_scrypt(passcode, salt), signer=URLSafeTimedSerializer(key))


def is_loopback(host: str) -> bool:
    """Does the address or name mean this computer only?"""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def _scrypt(passcode: str, salt: bytes) -> bytes:
    return hashlib.scrypt(passcode.encode(), salt=salt, n=_SCRYPT_N, r=_SCRYPT_R, p=_SCRYPT_P, dklen=32)
