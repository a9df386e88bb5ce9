"""One page of a device, again and again over a kept HTTP/1.1 connection; h11 knows the protocol."""

import asyncio
import ssl
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

import h11

from agent.inputs.collectors.frame import CollectorError
from agent.inputs.devices.web_login import Login

OK, UNKNOWN, FORBIDDEN = 200, 401, 403  # RFC 9110, section 15
PORTS = {"http": 80, "https": 443}
CHUNK_BYTES = 16_384
# What RFC 3986, section 2, lets stand in a path or query as it is, and escapes that are there already.
KEPT_CHARACTERS = "/?:@!$&'()*+,;=-._~%"
# How a connection ends that the server had closed before the request came.
UNHEARD = (ConnectionError, asyncio.IncompleteReadError)


@dataclass(frozen=True, slots=True)
class Address:
    """Where a page is; `target` is its path with the query."""

    secure: bool
    host: str
    port: int
    target: str

    @property
    def named(self) -> str:
        """For people, without the query, which may hold a key."""
        scheme = "https" if self.secure else "http"
        return f"{scheme}://{self.at}{self.target.partition('?')[0]}"

    @property
    def at(self) -> str:
        """Host and port as in the Host header (RFC 9110, section 7.2)."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        return host if self.port == PORTS["https" if self.secure else "http"] else f"{host}:{self.port}"


def address_of(text: str) -> Address | None:
    """The address of a page; None for what is none, or holds a password."""
    try:
        parts = urlsplit(text)
        host = (parts.hostname or "").encode("idna").decode()
        port = parts.port
    except ValueError:
        return None
    if parts.scheme not in PORTS or not host or "@" in parts.netloc:
        return None
    query = f"?{parts.query}" if parts.query else ""
    target = quote((parts.path or "/") + query, safe=KEPT_CHARACTERS)
    return Address(parts.scheme == "https", host, PORTS[parts.scheme] if port is None else port, target)


@dataclass(frozen=True, slots=True)
class Answer:
    """`headers` with names in small letters; the body is only read with status 200."""

    status: int
    reason: str
    headers: Sequence[tuple[str, str]]
    body: bytes

    def of(self, name: str) -> list[str]:
        """Every value of a header."""
        return [value for one, value in self.headers if one == name]


@dataclass(frozen=True, slots=True)
class _Link:
    reader: asyncio.StreamReader
    writer: asyncio.StreamWriter
    protocol: h11.Connection


class Page:
    """Gets one page; between two requests the connection stays open where the server lets it."""

    def __init__(
        self, address: Address, tls: ssl.SSLContext | None, login: Login | None, longest_bytes: int
    ) -> None:
        """`tls` None: in the clear. A longer body is refused."""
        self._address = address
        self._tls = tls
        self._login = login
        self._longest_bytes = longest_bytes
        self._link: _Link | None = None

    async def get(self) -> Answer:
        """The page now, or why not; raises OSError or CollectorError. The caller limits the time."""
        answer = await self._ask()
        if answer.status == UNKNOWN and self._login is not None:
            if self._login.learns(answer.of("www-authenticate")):
                return await self._ask()
        return answer

    async def _ask(self) -> Answer:
        if self._link is not None:
            try:
                return await self._exchange(self._link)
            except UNHEARD:
                # A server may close a kept connection at any moment, without a word.
                self.close()
        self._link = await self._connect()
        try:
            return await self._exchange(self._link)
        except asyncio.IncompleteReadError:
            raise CollectorError("the connection was closed without an answer") from None

    def close(self) -> None:
        """Let go of the connection."""
        if self._link is not None:
            self._link.writer.transport.abort()
            self._link = None

    async def _connect(self) -> _Link:
        reader, writer = await asyncio.open_connection(self._address.host, self._address.port, ssl=self._tls)
        return _Link(reader, writer, h11.Connection(h11.CLIENT))

    async def _exchange(self, link: _Link) -> Answer:
        protocol = link.protocol
        headers = {"Host": self._address.at, "Accept": "*/*", "Accept-Encoding": "identity"}
        word = None if self._login is None else self._login.word(self._address.target)
        if word is not None:
            headers["Authorization"] = word
        keep = False
        try:
            request = h11.Request(method="GET", target=self._address.target, headers=list(headers.items()))
            link.writer.write((protocol.send(request) or b"") + (protocol.send(h11.EndOfMessage()) or b""))
            await link.writer.drain()
            answer = await self._answer(link)
            keep = protocol.our_state is protocol.their_state is h11.DONE
            if keep:
                protocol.start_next_cycle()
            return answer
        except h11.RemoteProtocolError as error:
            raise CollectorError(f"this is no HTTP ({error})") from None
        finally:
            if not keep:
                self.close()

    async def _answer(self, link: _Link) -> Answer:
        """Raises IncompleteReadError where the connection ends without a word."""
        head: h11.Response | None = None
        heard = False
        body = bytearray()
        while True:
            event = link.protocol.next_event()
            if event is h11.NEED_DATA:
                data = await link.reader.read(CHUNK_BYTES)
                if not data and not heard:
                    raise asyncio.IncompleteReadError(data, None)
                heard = True
                link.protocol.receive_data(data)
            elif isinstance(event, h11.ConnectionClosed):
                raise CollectorError("the connection was closed in the middle of an answer")
            elif isinstance(event, h11.Response):
                head = event
            elif isinstance(event, h11.Data):
                body += event.data
            if head is not None and (head.status_code != OK or isinstance(event, h11.EndOfMessage)):
                named = [(name.decode(), value.decode("latin-1")) for name, value in head.headers]
                return Answer(head.status_code, head.reason.decode("latin-1"), named, bytes(body))
            if len(body) > self._longest_bytes:
                raise CollectorError(f"more than {self._longest_bytes} bytes came; name a smaller page")
