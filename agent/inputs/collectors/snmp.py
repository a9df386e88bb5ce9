"""[[inputs.snmp]]: numbers and texts of a device by SNMP, version 2c or 3. Sources are object identifiers."""

import re
from collections.abc import AsyncGenerator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

from pyasn1.type import univ
from pysnmp.error import PySnmpError
from pysnmp.hlapi.v3arch.asyncio import (
    USM_AUTH_HMAC96_MD5,
    USM_AUTH_HMAC96_SHA,
    USM_AUTH_HMAC192_SHA256,
    USM_AUTH_HMAC384_SHA512,
    USM_PRIV_CBC56_DES,
    USM_PRIV_CFB128_AES,
    CommunityData,
    ContextData,
    ObjectIdentity,
    ObjectType,
    SnmpEngine,
    UdpTransportTarget,
    UsmUserData,
    get_cmd,
)
from pysnmp.proto.rfc1905 import EndOfMibView, NoSuchInstance, NoSuchObject

from agent.config import Host, Port
from agent.inputs.collectors.decoding import Values
from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Stream, polled
from agent.inputs.collectors.mapped import Mapped, Seconds, TimeoutSeconds, Word
from agent.inputs.collectors.registry import Around
from agent.inputs.collectors.secrets import secret_of
from agent.inputs.mapping import read_maps, sources_of
from agent.records import JsonValue

PORT = 161  # IANA service name "snmp"
V2C = 1  # RFC 2576, section 2.3: message processing model of SNMPv2c
OID = re.compile(r"[0-2](\.\d{1,10}){2,127}")
ABSENT = (NoSuchObject, NoSuchInstance, EndOfMibView)
ADVICE = "is the device on, its SNMP allowed for this computer, and are [[inputs.snmp]] host and keys right?"
# More would not fit into one datagram with certainty (RFC 3417, section 3.2.1: 484 octets are always taken).
MOST_AT_ONCE = 16
RENEW_AFTER = 5
AUTHENTICATION = {
    "MD5": USM_AUTH_HMAC96_MD5,
    "SHA": USM_AUTH_HMAC96_SHA,
    "SHA-256": USM_AUTH_HMAC192_SHA256,
    "SHA-512": USM_AUTH_HMAC384_SHA512,
}
PRIVACY = {"DES": USM_PRIV_CBC56_DES, "AES": USM_PRIV_CFB128_AES}
SHORTEST_KEY = 8  # RFC 3414, section 11.2: passwords have at least eight characters.

Login: TypeAlias = CommunityData | UsmUserData


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
        first_within_s=settings.timeout_s,
    )


def _login(settings: Settings, around: Around) -> Login:
    community = secret_of("community_env", settings.community_env, around)
    password = secret_of("password_env", settings.password_env, around)
    privacy = secret_of("privacy_password_env", settings.privacy_password_env, around)
    if settings.username is None:
        # "public" is what devices are delivered with (common practice).
        return CommunityData(community or "public", mpModel=V2C)
    for key, secret in (("password_env", password), ("privacy_password_env", privacy)):
        if secret is not None and len(secret) < SHORTEST_KEY:
            around.findings.missing(around.section, key, f"a secret of at least {SHORTEST_KEY} characters")
    if settings.privacy_password_env is not None and settings.password_env is None:
        around.findings.missing(around.section, "password_env", "needed where privacy_password_env is")
    if password is None:
        return UsmUserData(settings.username)
    if privacy is None:
        return UsmUserData(settings.username, password, authProtocol=AUTHENTICATION[settings.authentication])
    return UsmUserData(
        settings.username,
        password,
        privacy,
        authProtocol=AUTHENTICATION[settings.authentication],
        privProtocol=PRIVACY[settings.privacy],
    )


def _stream(settings: Settings, login: Login, how: Mapped) -> Stream:
    async def stream() -> AsyncGenerator[Collected, None]:
        # It costs much more than a request, so that it outlives a few without an answer. Not all of them: a
        # device that was started again may take what version 3 remembers of its clock for a replay.
        engine = SnmpEngine()
        failures = 0
        try:
            target = await UdpTransportTarget.create(
                (settings.host, settings.port), timeout=settings.timeout_s / 3.0, retries=1
            )

            async def collect() -> Collected:
                nonlocal failures
                try:
                    found = how.from_values(await _values(engine, login, target, sources_of(how.maps)))
                except CollectorError as error:
                    failures += 1
                    if failures == RENEW_AFTER:
                        raise
                    return Collected((), error=str(error))
                failures = 0
                return found

            async for one in polled(collect, settings.every_s, settings.timeout_s)():
                yield one
        except PySnmpError as error:
            raise CollectorError(str(error)) from None
        finally:
            engine.close_dispatcher()

    return stream


async def _values(
    engine: SnmpEngine, login: Login, target: UdpTransportTarget, sources: Sequence[str]
) -> Values:
    found: dict[str, JsonValue] = {}
    for start in range(0, len(sources), MOST_AT_ONCE):
        found |= await _get(engine, login, target, sources[start : start + MOST_AT_ONCE])
    there = tuple(oid for oid, value in found.items() if value is not None)
    return Values(found.get, there, {})


async def _get(
    engine: SnmpEngine, login: Login, target: UdpTransportTarget, sources: Sequence[str]
) -> dict[str, JsonValue]:
    objects = [ObjectType(ObjectIdentity(source)) for source in sources]
    failure, status, index, pairs = await get_cmd(
        engine, login, target, ContextData(), *objects, lookupMib=False
    )
    if failure:
        raise CollectorError(str(failure))
    if status:
        which = sources[int(index) - 1] if 0 < int(index) <= len(sources) else "the request"
        raise CollectorError(f"the device refuses {which}: {status.prettyPrint()}")
    return {str(oid): plain(value) for oid, value in pairs}


def plain(value: object) -> JsonValue:
    """A value without its ASN.1: a number, a text, or None where the device has none."""
    if isinstance(value, ABSENT):
        return None
    if isinstance(value, univ.Integer):
        return int(value)
    if isinstance(value, univ.OctetString):
        return bytes(value).decode("utf-8", "replace").strip("\x00 ")
    return str(value)
