"""[[inputs.http]]: a status address of a device, JSON or text."""

import ssl
import time
from collections.abc import AsyncGenerator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import httpx

from agent.config import FilePath
from agent.inputs.collectors.decoding import Format
from agent.inputs.collectors.frame import Collected, Collector, CollectorError, Stream, polled
from agent.inputs.collectors.mapped import Line, Mapped, Seconds, TimeoutSeconds, Word, mapped
from agent.inputs.collectors.registry import Around
from agent.inputs.collectors.secrets import secret_of
from agent.inputs.payloads import MAX_PAYLOAD_BYTES

ADVICE = "is the device on, and are [[inputs.http]] url and credentials right?"
OK = 200


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


@dataclass(frozen=True, slots=True)
class _Access:
    headers: Mapping[str, str]
    auth: httpx.Auth | None
    verify: ssl.SSLContext | bool


def make(settings: Settings, around: Around) -> Collector | None:
    """The collector; None where `around.findings` says what is wrong."""
    before = len(around.findings.lines)
    url = _url(settings.url, around)
    how = mapped(settings, around.section, around.findings)
    access = _access(settings, around)
    if len(around.findings.lines) > before or how is None or url is None or access is None:
        return None
    return Collector(
        name=f"http {settings.name or url.host}",
        # Without the query, which may hold a key.
        place=f"{url.scheme}://{url.host}{'' if url.port is None else f':{url.port}'}{url.path}",
        advice=ADVICE,
        stream=_stream(settings, url, access, how),
        first_within_s=settings.timeout_s,
    )


def _url(text: str, around: Around) -> httpx.URL | None:
    allowed = 'an address such as "http://192.168.1.2/status.json", without a password in it'
    try:
        url = httpx.URL(text)
    except httpx.InvalidURL:
        around.findings.add(around.section, "url", text, allowed)
        return None
    if url.scheme not in ("http", "https") or not url.host or url.userinfo:
        around.findings.add(around.section, "url", str(url.copy_with(userinfo=None)), allowed)
        return None
    return url


def _access(settings: Settings, around: Around) -> _Access | None:
    password = secret_of("password_env", settings.password_env, around)
    token = secret_of("token_env", settings.token_env, around)
    if (settings.username is None) != (settings.password_env is None):
        around.findings.missing(around.section, "username", "username and password_env together")
        return None
    auth: httpx.Auth | None = None
    if settings.username is not None and password is not None:
        kind = httpx.BasicAuth if settings.login == "basic" else httpx.DigestAuth
        auth = kind(settings.username, password)
    verify = _trust(around.config.path.parent, settings.ca_file, around)
    return _Access({} if token is None else {"Authorization": f"Bearer {token}"}, auth, verify)


def _trust(folder: Path, ca_file: str | None, around: Around) -> ssl.SSLContext | bool:
    if ca_file is None:
        return True
    try:
        return ssl.create_default_context(cafile=str(folder / ca_file))
    except OSError as error:
        around.findings.add(around.section, "ca_file", ca_file, f"a PEM file that may be read ({error})")
        return True


def _stream(settings: Settings, url: httpx.URL, access: _Access, how: Mapped) -> Stream:
    async def stream() -> AsyncGenerator[Collected, None]:
        client = httpx.AsyncClient(
            headers=access.headers, auth=access.auth, verify=access.verify, timeout=settings.timeout_s,
            trust_env=False,
        )  # fmt: skip

        async def collect() -> Collected:
            return how.collected(await _body(client, url), time.time())

        async with client:
            async for found in polled(collect, settings.every_s, settings.timeout_s)():
                yield found

    return stream


async def _body(client: httpx.AsyncClient, url: httpx.URL) -> bytes:
    try:
        async with client.stream("GET", url) as response:
            if response.status_code != OK:
                reason = f"status {response.status_code} {response.reason_phrase}"
                raise CollectorError(f"{reason}; expected {OK}{_hint(response)}")
            body = bytearray()
            async for chunk in response.aiter_bytes():
                body += chunk
                if len(body) > MAX_PAYLOAD_BYTES:
                    raise CollectorError(f"more than {MAX_PAYLOAD_BYTES} bytes came; name a smaller page")
    except httpx.TimeoutException:
        raise TimeoutError from None
    except httpx.HTTPError as error:
        raise CollectorError(str(error) or type(error).__name__) from None
    return bytes(body)


def _hint(response: httpx.Response) -> str:
    if response.is_redirect:
        return f"; it points to {response.headers.get('location', 'nowhere')}: write that as url"
    return "; name and password are refused" if response.status_code in (401, 403) else ""
