"""Timed download and upload over HTTP or HTTPS against the user's own server, in several flows.

The rate counts from when the flows have had time to grow. What went up counts once the other end has
acknowledged it, since what waits in this computer's buffers has not left.
"""

import asyncio
import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Annotated
from urllib.parse import urlsplit

from annotated_types import MaxLen, MinLen

from agent.inputs.collectors.frame import Collector, CollectorError, RateTest
from agent.inputs.collectors.registry import Around, secret_of
from agent.inputs.collectors.sockets import usual_trust
from agent.inputs.rates.flows import CHUNK_BYTES, Flow, FlowTest, Pump, Target, run_flows
from agent.inputs.rates.rounds import (
    LONGEST_RETRY_S,
    Direction,
    OneWay,
    RateTestSettings,
    Watchman,
    rounds,
    watchman_of,
)
from agent.inputs.rates.turn import Cost

Url = Annotated[str, MinLen(8), MaxLen(2000)]
ANSWER_WITHIN_S = 15.0
STATUS_LINE = re.compile(rb"HTTP/1\.[01] (\d{3})(?: ([ -~]*))?\r\n")
PORTS = {"http": 80, "https": 443}


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings(RateTestSettings):
    """[[inputs.http_rate]]: at least one of the addresses.

    `download_url` is a large file or an endless answer; `upload_url` takes a POST in chunks. `token_env`
    names the environment variable that holds the server's token.
    """

    download_url: Url | None = None
    upload_url: Url | None = None
    token_env: Annotated[str, MinLen(1), MaxLen(100)] | None = None


def make(settings: Settings, around: Around) -> Collector | None:
    """Publishes throughput readings of the method active."""
    urls = {"down": settings.download_url, "up": settings.upload_url}
    if not any(urls.values()):
        around.findings.missing(around.section, "download_url", "an address to download from, or upload_url")
        return None
    for way, url in urls.items():
        if url is not None and (split_url(url) is None):
            key = "download_url" if way == "down" else "upload_url"
            allowed = "an address such as http://198.51.100.7:8765/down"
            around.findings.add(around.section, key, url, allowed)
            return None
    token = secret_of("token_env", settings.token_env, around)
    if settings.token_env is not None and token is None:
        return None
    return collector(settings, token, watchman_of(around.config))


def collector(settings: Settings, token: str | None, watchman: Watchman) -> Collector:
    """The collector of addresses that are known to be sound."""
    urls: dict[Direction, str] = {}
    if settings.download_url is not None:
        urls["down"] = settings.download_url
    if settings.upload_url is not None:
        urls["up"] = settings.upload_url
    place = next(iter(urls.values()))
    found = split_url(place)
    if found is None:
        raise AssertionError("addresses are checked before")
    target, _ = found
    return Collector(
        name=f"http_rate {urlsplit(place).netloc.rpartition('@')[2]}",
        place=place,
        advice="look whether the server runs and can be reached: peakshade respond, at the other end",
        stream=lambda: rounds(settings, watchman, list(urls), partial(one_way, settings, urls, token)),
        first_within_s=len(urls) * (settings.seconds + 2.0 * ANSWER_WITHIN_S),
        least_retry_s=min(settings.every_s, LONGEST_RETRY_S),
        rate_test=RateTest(host=target.host, port=target.port, most_mb=settings.test_mb),
    )


async def one_way(
    settings: Settings, urls: Mapping[Direction, str], token: str | None, way: Direction, cost: Cost
) -> OneWay:
    """Test one direction."""
    found = split_url(urls[way])
    if found is None:
        raise AssertionError("addresses are checked before")
    target, path = found
    pump: Pump = partial(_download if way == "down" else _upload, request_head(way, target, path, token))
    test = FlowTest(
        target=target,
        direction=way,
        flows=settings.flows,
        window_bytes=settings.window_bytes,
        seconds=settings.seconds,
        pump=pump,
    )
    return await run_flows(test, cost)


def split_url(url: str) -> tuple[Target, str] | None:
    """Where to connect, and what to ask for there; None where it is no address of this kind."""
    try:
        parts = urlsplit(url)
        port = parts.port
    except ValueError:
        return None
    unfit = parts.username or re.search(r"[^!-~]", url)
    if parts.scheme not in PORTS or not parts.hostname or unfit:
        return None
    tls = usual_trust() if parts.scheme == "https" else None
    path = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
    return Target(host=parts.hostname, port=port or PORTS[parts.scheme], tls=tls), path


def request_head(way: Direction, target: Target, path: str, token: str | None) -> bytes:
    """The request up to its body (RFC 9112)."""
    host = f"[{target.host}]" if ":" in target.host else target.host
    lines = [
        f"{'GET' if way == 'down' else 'POST'} {path} HTTP/1.1",
        f"Host: {host}:{target.port}",
        "User-Agent: peakshade",
        "Connection: close",
    ]
    if way == "down":
        lines.append("Accept-Encoding: identity")
    else:
        lines += ["Content-Type: application/octet-stream", "Transfer-Encoding: chunked"]
    if token is not None:
        lines.append(f"Authorization: Bearer {token}")
    return "\r\n".join([*lines, "", ""]).encode()


async def _download(head: bytes, flow: Flow, enough: asyncio.Event) -> None:
    flow.writer.write(head)
    await _check_status(flow)
    while not enough.is_set() and flow.cost.left_bytes > 0:
        async with asyncio.timeout(ANSWER_WITHIN_S):
            data = await flow.reader.read(CHUNK_BYTES)
        if not data:
            return
        flow.took(len(data))


async def _upload(head: bytes, flow: Flow, enough: asyncio.Event) -> None:
    """Random bytes, which nothing on the way can squeeze."""
    flow.writer.transport.set_write_buffer_limits(high=CHUNK_BYTES)
    flow.writer.write(head)
    data = os.urandom(CHUNK_BYTES)
    chunk = f"{len(data):x}\r\n".encode() + data + b"\r\n"
    answer = asyncio.ensure_future(_check_status(flow, while_sending=True))
    try:
        while not (enough.is_set() or answer.done()) and flow.cost.left_bytes > 0:
            flow.writer.write(chunk)
            flow.took(len(chunk))
            async with asyncio.timeout(ANSWER_WITHIN_S):
                await flow.writer.drain()
        if not answer.done():
            flow.writer.write(b"0\r\n\r\n")
        await asyncio.wait([answer], timeout=ANSWER_WITHIN_S)
        if not answer.done():
            raise CollectorError("no answer to the upload; name an upload_url that takes a POST in chunks")
        answer.result()
    finally:
        answer.cancel()


async def _check_status(flow: Flow, while_sending: bool = False) -> None:
    """Read the head of the answer; raises CollectorError unless it says that all is well."""
    try:
        async with asyncio.timeout(None if while_sending else ANSWER_WITHIN_S):
            head = await flow.reader.readuntil(b"\r\n\r\n")
    except asyncio.IncompleteReadError as error:
        raise CollectorError(f"the connection closed after {error.partial[:40]!r}; expected HTTP") from None
    except asyncio.LimitOverrunError:
        raise CollectorError("no end of the answer's head; expected HTTP") from None
    line = STATUS_LINE.match(head)
    if line is None:
        raise CollectorError(f"the answer begins {head[:40]!r}; expected HTTP/1.1")
    code, reason = line[1].decode(), (line[2] or b"").decode()
    if not code.startswith("2"):
        raise CollectorError(f"the server answers {code} {reason}; expected 200")
