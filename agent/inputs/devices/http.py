"""[[inputs.http]]: a status address of a device, JSON or text."""

import re
import ssl
import time
from collections.abc import AsyncGenerator, Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from agent.config import FilePath
from agent.inputs.collectors.decoding import Format
from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Stream, polled
from agent.inputs.collectors.mapped import Line, Mapped, Seconds, TimeoutSeconds, Word, mapped
from agent.inputs.collectors.registry import Around, authority_of, secret_of
from agent.inputs.collectors.sockets import usual_trust
from agent.inputs.devices.web import FORBIDDEN, OK, UNKNOWN, Answer, Page, address_of
from agent.inputs.devices.web_login import Digest, Login, basic, bearer
from agent.inputs.payloads import MAX_PAYLOAD_BYTES

ADVICE = "is the device on, and are [[inputs.http]] url and credentials right?"
LOGIN_IN_URL = re.compile(r"//[^/@]*@")


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings:
    """Credentials by the names of environment variables; `ca_file` where the device signs its own."""

    url: Line
    readings: Mapping[str, object]
    name: Word | None = None
    format: Format = "json"
    pattern: Line | None = None
    username: Word | None = None
    password_env: Word | None = None
    token_env: Word | None = None
    login: Literal["basic", "digest"] = "basic"
    ca_file: FilePath | None = None
    every_s: Seconds = 5.0
    timeout_s: TimeoutSeconds = 5.0


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    before = len(around.findings.lines)
    address = address_of(settings.url)
    if address is None:
        allowed = 'an address such as "http://192.168.1.2/status.json", without a password in it'
        around.findings.add(around.section, "url", LOGIN_IN_URL.sub("//", settings.url), allowed)
    how = mapped(settings, around.section, around.findings)
    login = _login(settings, around)
    trust = _trust(authority_of(settings.ca_file, around))
    if len(around.findings.lines) > before or how is None or address is None:
        return None
    page = Page(address, trust() if address.secure else None, login, MAX_PAYLOAD_BYTES)
    return Collector(
        name=f"http {settings.name or address.host}",
        place=address.named,
        advice=ADVICE,
        stream=_stream(settings, page, how),
        first_within_s=settings.timeout_s,
    )


def _login(settings: Settings, around: Around) -> Login | None:
    password = secret_of("password_env", settings.password_env, around)
    token = secret_of("token_env", settings.token_env, around)
    if (settings.username is None) != (settings.password_env is None):
        around.findings.missing(around.section, "username", "username and password_env together")
    if token is not None:
        return bearer(token)
    if settings.username is None or password is None:
        return None
    return (basic if settings.login == "basic" else Digest)(settings.username, password)


def _trust(authority: Path | None) -> Callable[[], ssl.SSLContext]:
    """Makes what says whom to believe that it is the device."""
    if authority is None:
        return usual_trust
    own = ssl.create_default_context(cafile=str(authority))
    return lambda: own


def _stream(settings: Settings, page: Page, how: Mapped) -> Stream:
    async def stream() -> AsyncGenerator[Collected, None]:
        async def collect() -> Collected:
            return how.collected(await _body(page), time.time())

        try:
            async for found in polled(collect, settings.every_s, settings.timeout_s)():
                yield found
        finally:
            page.close()

    return stream


async def _body(page: Page) -> bytes:
    answer = await page.get()
    if answer.status != OK:
        raise CollectorError(f"status {answer.status} {answer.reason}; expected {OK}{_hint(answer)}")
    return answer.body


def _hint(answer: Answer) -> str:
    for place in answer.of("location"):
        return f"; it points to {place}: write that as url"
    return "; name and password are refused" if answer.status in (UNKNOWN, FORBIDDEN) else ""
