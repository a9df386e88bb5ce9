"""[[inputs.snmp]]: numbers and texts of a device by SNMP, version 2c or 3. Sources are object identifiers."""

import asyncio
import re
import socket
from collections.abc import AsyncGenerator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Literal

from gufo.snmp import (
    Aes128Key,
    BaseAuthKey,
    BasePrivKey,
    DesKey,
    Md5Key,
    Sha1Key,
    Sha256Key,
    Sha512Key,
    SnmpAuthError,
    SnmpError,
    User,
    ValueType,
)
from gufo.snmp.aio import SnmpSession

from agent.config import Host, Port
from agent.inputs.collectors.decoding import Values
from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Stream, polled
from agent.inputs.collectors.mapped import Mapped, Seconds, TimeoutSeconds, Word
from agent.inputs.collectors.registry import Around, secret_of
from agent.inputs.mapping import read_maps, sources_of
from agent.records import JsonValue

PORT = 161  # IANA service name "snmp"
OID = re.compile(r"[0-2](\.\d{1,10}){2,127}")
ADVICE = "is the device on, its SNMP allowed for this computer, and are [[inputs.snmp]] host and keys right?"
# More would not fit into one datagram with certainty (RFC 3417, section 3.2.1: 484 octets are always taken).
MOST_AT_ONCE = 16
# A datagram may get lost: the request is sent again, and waited for once more.
TRIES = 2
# Of the 150 s after which a device refuses what this end believes of its clock (RFC 3414, section 2.2.3).
CLOCK_KEPT_S = 100.0
AUTHENTICATION: Mapping[str, type[BaseAuthKey]] = {
    "MD5": Md5Key,
    "SHA": Sha1Key,
    "SHA-256": Sha256Key,
    "SHA-512": Sha512Key,
}
PRIVACY: Mapping[str, type[BasePrivKey]] = {"DES": DesKey, "AES": Aes128Key}
SHORTEST_KEY = 8  # RFC 3414, section 11.2: passwords have at least eight characters.


@dataclass(frozen=True, slots=True)
class _Login:
    """Version 3 where there is a `user`."""

    community: str
    user: User | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Version 3 where a `username` is named, else 2c; secrets by the names of environment variables."""

    host: Host
    readings: Mapping[str, object]
    name: Word | None = None
    port: Port = PORT
    community_env: Word | None = None
    username: Word | None = None
    authentication: Literal["MD5", "SHA", "SHA-256", "SHA-512"] = "SHA"
    password_env: Word | None = None
    privacy: Literal["DES", "AES"] = "AES"
    privacy_password_env: Word | None = None
    every_s: Seconds = 5.0
    timeout_s: TimeoutSeconds = 5.0


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    before = len(around.findings.lines)
    maps = read_maps(settings.readings, f"{around.section}.readings", around.findings)
    for source in sources_of(maps):
        if not OID.fullmatch(source):
            allowed = 'an object identifier in numbers such as "1.3.6.1.2.1.1.3.0"'
            around.findings.add(f"{around.section}.readings", "source", source, allowed)
    login = _login(settings, around)
    if len(around.findings.lines) > before:
        return None
    return Collector(
        name=f"snmp {settings.name or settings.host}",
        place=f"{settings.host}:{settings.port}",
        advice=ADVICE,
        stream=_stream(settings, login, Mapped(maps)),
        first_within_s=2.0 * settings.timeout_s,  # the session, and the values
    )


def _login(settings: Settings, around: Around) -> _Login:
    community = secret_of("community_env", settings.community_env, around)
    password = secret_of("password_env", settings.password_env, around)
    privacy = secret_of("privacy_password_env", settings.privacy_password_env, around)
    # "public" is what devices are delivered with (common practice).
    login = _Login(community or "public", None)
    if settings.username is None:
        return login
    for key, secret in (("password_env", password), ("privacy_password_env", privacy)):
        if secret is not None and len(secret) < SHORTEST_KEY:
            around.findings.missing(around.section, key, f"a secret of at least {SHORTEST_KEY} characters")
    if settings.privacy_password_env is not None and settings.password_env is None:
        around.findings.missing(around.section, "password_env", "needed where privacy_password_env is")
        return login
    user = User(
        settings.username,
        auth_key=AUTHENTICATION[settings.authentication](password.encode()) if password else None,
        priv_key=PRIVACY[settings.privacy](privacy.encode()) if password and privacy else None,
    )
    return _Login(login.community, user)


def _stream(settings: Settings, login: _Login, how: Mapped) -> Stream:
    async def stream() -> AsyncGenerator[Collected, None]:
        loop = asyncio.get_running_loop()
        sources = sources_of(how.maps)
        heard_s = loop.time()

        async def collect() -> Collected:
            nonlocal heard_s
            if loop.time() - heard_s > CLOCK_KEPT_S:
                await session.refresh()
            values = await _values(session, sources)
            heard_s = loop.time()
            return how.from_values(values)

        try:
            # What it knows of the device ends with the first failure: a device that was started again may
            # take it for a replay.
            async with await _session(settings, login) as session:
                async for one in polled(collect, settings.every_s, settings.timeout_s)():
                    yield one
        except TimeoutError:
            raise CollectorError(
                "no response; a wrong community or privacy password has none either"
            ) from None
        except SnmpAuthError:
            raise CollectorError("the device refuses user, password or method of authentication") from None
        except SnmpError as error:
            raise CollectorError(str(error)) from None

    return stream


async def _session(settings: Settings, login: _Login) -> SnmpSession:
    """Raises OSError where the name is unknown."""
    found = await asyncio.get_running_loop().getaddrinfo(settings.host, settings.port, type=socket.SOCK_DGRAM)
    return SnmpSession(
        str(found[0][4][0]),
        settings.port,
        login.community,
        user=login.user,
        timeout=settings.timeout_s / TRIES,
    )


async def _values(session: SnmpSession, sources: Sequence[str]) -> Values:
    found: dict[str, JsonValue] = {}
    for start in range(0, len(sources), MOST_AT_ONCE):
        answers = await _get(session, sources[start : start + MOST_AT_ONCE])
        found |= {oid: plain(value) for oid, value in answers.items()}
    return Values(found.get, tuple(found), {})


async def _get(session: SnmpSession, sources: Sequence[str]) -> dict[str, ValueType]:
    for _ in range(TRIES - 1):
        with suppress(TimeoutError):
            return await session.get_many(sources)
    return await session.get_many(sources)


def plain(value: ValueType) -> JsonValue:
    """A number, or a text without what fills it up."""
    return value.decode("utf-8", "replace").strip("\x00 ") if isinstance(value, bytes) else value
