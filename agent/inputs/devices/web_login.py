"""Logins of web servers: Basic (RFC 7617), Digest (RFC 7616, old ones without qop too), Bearer (RFC 6750)."""

import base64
import hashlib
import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol
from urllib.request import parse_http_list

from agent.inputs.collectors.frame import CollectorError

# RFC 7616, section 6.1; the "-sess" forms and qop "auth-int" are not spoken by devices (common practice).
MD5, QUALITY, SCHEME = "MD5", "auth", "digest "
ALGORITHMS = {MD5: hashlib.md5, "SHA-256": hashlib.sha256}


class Login(Protocol):
    """What stands in the Authorization header."""

    def word(self, target: str) -> str | None:
        """For the next request of this target; None: nothing yet."""

    def learns(self, challenges: Sequence[str]) -> bool:
        """Whether the same request is worth another try after a refusal with these challenges."""


@dataclass(frozen=True, slots=True)
class Fixed:
    """The same with every request."""

    text: str

    def word(self, target: str) -> str | None:
        """As it is."""
        return self.text

    def learns(self, challenges: Sequence[str]) -> bool:
        """Said once is said."""
        return False


def basic(username: str, password: str) -> Fixed:
    """Name and password as they are."""
    return Fixed(f"Basic {base64.b64encode(f'{username}:{password}'.encode()).decode()}")


def bearer(token: str) -> Fixed:
    """A token."""
    return Fixed(f"Bearer {token}")


class Digest:
    """Proves that it knows the password to a server that has sent a challenge."""

    def __init__(self, username: str, password: str) -> None:
        self._username = username
        self._password = password
        self._challenge: Mapping[str, str] | None = None
        self._count = 0

    def word(self, target: str) -> str | None:
        """The proof for the latest challenge."""
        if self._challenge is None:
            return None
        self._count += 1
        return answer(
            self._challenge, (self._username, self._password), target, secrets.token_hex(8), self._count
        )

    def learns(self, challenges: Sequence[str]) -> bool:
        """True; raises CollectorError where it can answer none of them."""
        self._challenge, self._count = read_challenge(challenges), 0
        return True


def read_challenge(challenges: Sequence[str]) -> Mapping[str, str]:
    """The parts of the first that can be answered; raises CollectorError where none can."""
    for text in challenges:
        if text.lower().startswith(SCHEME):
            pairs = [one.partition("=") for one in parse_http_list(text[len(SCHEME) :])]
            parts = {name.lower(): value.removeprefix('"').removesuffix('"') for name, _, value in pairs}
            qualities = [one.strip() for one in parts.get("qop", QUALITY).split(",")]
            known = parts.get("algorithm", MD5).upper() in ALGORITHMS
            if known and QUALITY in qualities and parts.get("nonce") and "realm" in parts:
                return parts
    raise CollectorError(
        f"it asks for {'; '.join(challenges)[:99] or 'nothing'}; known is Digest with {', '.join(ALGORITHMS)}"
    )


def answer(challenge: Mapping[str, str], login: tuple[str, str], target: str, cnonce: str, count: int) -> str:
    """The Authorization header for a GET (RFC 7616, sections 3.4.1 to 3.4.3)."""
    make = ALGORITHMS[challenge.get("algorithm", MD5).upper()]

    def digest(*parts: str) -> str:
        return make(":".join(parts).encode()).hexdigest()

    username, password = login
    nonce, realm = challenge["nonce"], challenge["realm"]
    secret, what = digest(username, realm, password), digest("GET", target)
    quoted = {"username": username, "realm": realm, "nonce": nonce, "uri": target}
    plain: dict[str, str] = {}
    if "qop" in challenge:
        plain = {"qop": QUALITY, "nc": f"{count:08x}"}
        quoted["cnonce"] = cnonce
        quoted["response"] = digest(secret, nonce, plain["nc"], cnonce, QUALITY, what)
    else:
        quoted["response"] = digest(secret, nonce, what)
    plain |= {name: challenge[name] for name in ("algorithm",) if name in challenge}
    quoted |= {name: challenge[name] for name in ("opaque",) if name in challenge}
    words = [f'{name}="{_escaped(value)}"' for name, value in quoted.items()]
    return f"Digest {', '.join([*words, *(f'{name}={value}' for name, value in plain.items())])}"


def _escaped(text: str) -> str:
    return text.replace("\\", "\\\\").replace('"', '\\"')
