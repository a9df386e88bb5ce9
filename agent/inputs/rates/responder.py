"""The other end of a test of the rate: a small HTTP server that gives and takes bytes, and nothing else.

GET /down answers with random bytes, POST /up takes a body and answers with its length. Both want the token.
Every connection, all of them together, and each hour are bounded.
"""

import asyncio
import hmac
import json
import logging
import os
import re
import time
from collections.abc import AsyncGenerator
from dataclasses import dataclass, field

LOG = logging.getLogger(__name__)

CONNECTIONS = 32  # two tests with sixteen flows each
HEAD_BYTES = 8192
HEAD_WITHIN_S = 10.0
TRANSFER_WITHIN_S = 120.0
STALLED_AFTER_S = 20.0
CHUNK_BYTES = 16_384
LONGEST_CHUNK_BYTES = 1 << 20
LINGER_S = 3.0
LINGER_BYTES = 1 << 20
HOUR_S = 3600.0
REQUEST = re.compile(rb"(GET|POST) (/down|/up) HTTP/1\.1\r\n")
ANY_REQUEST = re.compile(rb"[A-Z]+ \S+ HTTP/1\.[01]\r\n")


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponderSettings:
    """Where to listen, and what one hour may cost."""

    host: str
    port: int
    token: str
    hour_bytes: int


class Refused(Exception):
    """A request that is not served; the status and a word for the client."""

    def __init__(self, status: str) -> None:
        super().__init__(status)
        self.status = status


@dataclass(slots=True)
class Allowance:
    """Bytes left in this hour."""

    hour_bytes: int
    since_s: float = field(default_factory=time.monotonic)
    used_bytes: int = 0

    def take(self, count: int) -> None:
        """Use so many; raises Refused where the hour has not that many left."""
        now_s = time.monotonic()
        if now_s - self.since_s >= HOUR_S:
            self.since_s, self.used_bytes = now_s, 0
        if self.used_bytes + count > self.hour_bytes:
            raise Refused("429 Too Many Requests")
        self.used_bytes += count


async def start_responder(settings: ResponderSettings) -> asyncio.Server:
    """Listen. Raises OSError where the address cannot be used."""
    responder = _Responder(settings)
    return await asyncio.start_server(responder.serve, settings.host, settings.port, limit=HEAD_BYTES)


class _Responder:
    def __init__(self, settings: ResponderSettings) -> None:
        self._token = settings.token.encode()
        self._allowance = Allowance(settings.hour_bytes)
        self._open = 0
        self._block = os.urandom(CHUNK_BYTES)

    async def serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """One connection, one request."""
        if self._open >= CONNECTIONS:
            writer.transport.abort()
            return
        self._open += 1
        try:
            await self._answer(reader, writer)
            writer.close()
            async with asyncio.timeout(STALLED_AFTER_S):
                await writer.wait_closed()
        except (OSError, asyncio.IncompleteReadError, asyncio.LimitOverrunError) as error:
            LOG.debug("a connection ended early: %s", error)
        finally:
            writer.transport.abort()
            self._open -= 1

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            async with asyncio.timeout(HEAD_WITHIN_S):
                head = await reader.readuntil(b"\r\n\r\n")
            what = self._admitted(head)
            async with asyncio.timeout(TRANSFER_WITHIN_S):
                if what == b"/down":
                    await self._give(writer)
                else:
                    await self._take(head, reader, writer)
        except Refused as refused:
            writer.write(_response(refused.status, {"error": refused.status}))
            await _linger(reader, writer)

    def _admitted(self, head: bytes) -> bytes:
        """The path of a request that may be served."""
        given = _header(head, b"authorization")
        if not hmac.compare_digest(given, b"Bearer " + self._token):
            raise Refused("401 Unauthorized")
        found = REQUEST.match(head)
        if found is None or (found[1], found[2]) not in ((b"GET", b"/down"), (b"POST", b"/up")):
            raise Refused("404 Not Found" if ANY_REQUEST.match(head) else "400 Bad Request")
        return found[2]

    async def _give(self, writer: asyncio.StreamWriter) -> None:
        """Bytes until the client has enough; the end of the connection is the end of the body."""
        self._allowance.take(len(self._block))
        writer.write(
            b"HTTP/1.1 200 OK\r\nContent-Type: application/octet-stream\r\nCache-Control: no-store\r\n"
            b"Connection: close\r\n\r\n"
        )
        while True:
            writer.write(self._block)
            async with asyncio.timeout(STALLED_AFTER_S):
                await writer.drain()
            try:
                self._allowance.take(len(self._block))
            except Refused:
                return

    async def _take(self, head: bytes, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if _header(head, b"expect").lower() == b"100-continue":
            writer.write(b"HTTP/1.1 100 Continue\r\n\r\n")
        count = 0
        start_s = time.monotonic()
        async for part in _body(head, reader):
            self._allowance.take(part)
            count += part
        seconds = time.monotonic() - start_s
        writer.write(_response("200 OK", {"bytes": count, "seconds": round(seconds, 3)}))


async def _linger(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
    """Read a little on: closing at once would throw away the answer together with what still comes in."""
    writer.write_eof()
    left = LINGER_BYTES
    try:
        async with asyncio.timeout(LINGER_S):
            while left > 0 and (data := await reader.read(CHUNK_BYTES)):
                left -= len(data)
    except TimeoutError:
        LOG.debug("a refused client goes on sending")


async def _body(head: bytes, reader: asyncio.StreamReader) -> AsyncGenerator[int, None]:
    """Lengths of the pieces of a body, as they come (RFC 9112, sections 6.2 and 7.1)."""
    if _header(head, b"transfer-encoding").lower() != b"chunked":
        length = _header(head, b"content-length")
        if not length.isdigit():
            raise Refused("411 Length Required")
        async for part in _exactly(int(length), reader):
            yield part
        return
    while True:
        async with asyncio.timeout(STALLED_AFTER_S):
            line = (await reader.readuntil(b"\r\n")).split(b";")[0].strip()
        if not re.fullmatch(rb"[0-9a-fA-F]{1,8}", line) or int(line, 16) > LONGEST_CHUNK_BYTES:
            raise Refused("400 Bad Request")
        size = int(line, 16)
        async for part in _exactly(size, reader):
            yield part
        if await reader.readexactly(2) != b"\r\n":
            raise Refused("400 Bad Request")
        if size == 0:
            return


async def _exactly(length: int, reader: asyncio.StreamReader) -> AsyncGenerator[int, None]:
    left = length
    while left > 0:
        async with asyncio.timeout(STALLED_AFTER_S):
            data = await reader.read(min(left, CHUNK_BYTES))
        if not data:
            raise asyncio.IncompleteReadError(b"", left)
        left -= len(data)
        yield len(data)


def _header(head: bytes, name: bytes) -> bytes:
    """The value of a field of the request's head; empty where it is not there."""
    found = re.search(rb"(?im)^" + re.escape(name) + rb":[ \t]*([^\r\n]*?)[ \t]*\r$", head)
    return found[1] if found else b""


def _response(status: str, body: dict[str, int | float | str]) -> bytes:
    text = json.dumps(body).encode()
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: application/json\r\nContent-Length: {len(text)}\r\n"
        "Connection: close\r\n\r\n"
    )
    return head.encode() + text
