"""The other end of a test of the rate: a small HTTP server that gives and takes bytes, and nothing else.

GET /down answers with random bytes, POST /up takes a body and answers with its length. Both want the token.
Every connection, all of them together, and each hour are bounded.
"""

import asyncio
import hmac
import json
import logging
import os
import time
from dataclasses import dataclass, field
from http import HTTPStatus

import h11

LOG = logging.getLogger(__name__)

CONNECTIONS = 32  # two tests with sixteen flows each
HEAD_BYTES = 8192
HEAD_WITHIN_S = 10.0
TRANSFER_WITHIN_S = 120.0
STALLED_AFTER_S = 20.0
CHUNK_BYTES = 65_536
LINGER_S = 3.0
LINGER_BYTES = 1 << 20
HOUR_S = 3600.0
SERVED = ((b"GET", b"/down"), (b"POST", b"/up"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ResponderSettings:
    """Where to listen, and what one hour may cost."""

    host: str
    port: int
    token: str
    hour_bytes: int


class Refused(Exception):
    """A request that is not served, and the status for the client."""

    def __init__(self, status: HTTPStatus) -> None:
        super().__init__(status.phrase)
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
            raise Refused(HTTPStatus.TOO_MANY_REQUESTS)
        self.used_bytes += count


@dataclass(frozen=True, slots=True)
class _Link:
    """One connection of a client."""

    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    protocol: h11.Connection

    async def next_event(self) -> object:
        """The next of h11's events; raises TimeoutError, OSError or h11.RemoteProtocolError."""
        while (event := self.protocol.next_event()) is h11.NEED_DATA:
            async with asyncio.timeout(STALLED_AFTER_S):
                self.protocol.receive_data(await self.reader.read(CHUNK_BYTES))
        return event

    def send(self, *events: h11.Event) -> None:
        """Hand over to the network."""
        for event in events:
            self.writer.write(self.protocol.send(event) or b"")

    def answer(self, status: HTTPStatus, text: bytes = b"") -> None:
        """A whole answer, and the last one."""
        self.send(_response(status, "application/json", ("Content-Length", str(len(text)))))
        self.send(h11.Data(data=text), h11.EndOfMessage())

    async def linger(self) -> None:
        """Read a little on: closing at once would throw away the answer together with what still comes in."""
        self.writer.write_eof()
        left = LINGER_BYTES
        try:
            async with asyncio.timeout(LINGER_S):
                while left > 0 and (data := await self.reader.read(CHUNK_BYTES)):
                    left -= len(data)
        except TimeoutError:
            LOG.debug("a refused client goes on sending")


async def start_responder(settings: ResponderSettings) -> asyncio.Server:
    """Listen. Raises OSError where the address cannot be used."""
    responder = _Responder(settings)
    return await asyncio.start_server(responder.serve, settings.host, settings.port, limit=CHUNK_BYTES)


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
            await self._answer(_Link(reader, writer, h11.Connection(h11.SERVER, HEAD_BYTES)))
            writer.close()
            async with asyncio.timeout(STALLED_AFTER_S):
                await writer.wait_closed()
        # Of a stream's task that was cancelled Python 3.11 prints a traceback.
        except (OSError, asyncio.CancelledError) as error:
            LOG.debug("a connection ended early: %s", error)
        finally:
            writer.transport.abort()
            self._open -= 1

    async def _answer(self, link: _Link) -> None:
        try:
            async with asyncio.timeout(HEAD_WITHIN_S):
                request = await link.next_event()
            if isinstance(request, h11.Request):
                self._admit(request)
                async with asyncio.timeout(TRANSFER_WITHIN_S):
                    await (self._give(link) if request.method == b"GET" else self._take(link))
        except Refused as refused:
            link.answer(refused.status)
            await link.linger()
        except h11.RemoteProtocolError as error:
            link.answer(HTTPStatus(error.error_status_hint))
            await link.linger()

    def _admit(self, request: h11.Request) -> None:
        """Raises Refused unless it may be served."""
        fields = dict(request.headers)
        if not hmac.compare_digest(fields.get(b"authorization", b""), b"Bearer " + self._token):
            raise Refused(HTTPStatus.UNAUTHORIZED)
        if (request.method, request.target) not in SERVED:
            raise Refused(HTTPStatus.NOT_FOUND)
        if request.method == b"POST" and not fields.keys() & {b"content-length", b"transfer-encoding"}:
            raise Refused(HTTPStatus.LENGTH_REQUIRED)

    async def _give(self, link: _Link) -> None:
        """Bytes until the client, or the hour, has enough."""
        self._allowance.take(len(self._block))
        link.send(_response(HTTPStatus.OK, "application/octet-stream", ("Cache-Control", "no-store")))
        while True:
            link.send(h11.Data(data=self._block))
            async with asyncio.timeout(STALLED_AFTER_S):
                await link.writer.drain()
            try:
                self._allowance.take(len(self._block))
            except Refused:
                return link.send(h11.EndOfMessage())

    async def _take(self, link: _Link) -> None:
        if link.protocol.they_are_waiting_for_100_continue:
            link.send(
                h11.InformationalResponse(status_code=HTTPStatus.CONTINUE, headers=[], reason=b"Continue")
            )
        count = 0
        start_s = time.monotonic()
        while isinstance(part := await link.next_event(), h11.Data):
            self._allowance.take(len(part.data))
            count += len(part.data)
        seconds = round(time.monotonic() - start_s, 3)
        link.answer(HTTPStatus.OK, json.dumps({"bytes": count, "seconds": seconds}).encode())


def _response(status: HTTPStatus, content_type: str, *more: tuple[str, str]) -> h11.Response:
    headers = [("Content-Type", content_type), *more, ("Connection", "close")]
    return h11.Response(status_code=status, headers=headers, reason=status.phrase)
