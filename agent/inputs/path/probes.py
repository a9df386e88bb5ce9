"""One probe of a host: an ICMP echo where the system lets anybody send one, else a TCP connection."""

import asyncio
import os
import socket
import struct
import time
from typing import Literal, Protocol

from agent.inputs.collectors.frame import CollectorError
from agent.inputs.rates.tcp_info import tcp_info

ProbeMethod = Literal["auto", "icmp", "tcp"]

# RFC 792 and RFC 4443, section 4.1: type of the request and of the reply.
ECHO_TYPES = {socket.AF_INET: (8, 0), socket.AF_INET6: (128, 129)}
HEADER = struct.Struct("!BBHHH")
NONCE_BYTES = 16
IPV4_VERSION = 4
LARGEST_REPLY = 2048


class Prober(Protocol):
    """Something that asks one host for a sign of life."""

    async def rtt_ms(self, timeout_s: float) -> float | None:
        """The round trip; None where nothing came back in time."""

    def close(self) -> None:
        """Give the socket back."""


async def open_prober(host: str, port: int, method: ProbeMethod) -> Prober:
    """A prober of this host; `port` is for TCP. Raises OSError where the name is not known."""
    loop = asyncio.get_running_loop()
    family, _, _, _, address = (await loop.getaddrinfo(host, port, type=socket.SOCK_STREAM))[0]
    if method == "tcp":
        return TcpProber(family, address)
    try:
        return IcmpProber(family, address)
    except PermissionError:
        if method == "auto":
            return TcpProber(family, address)
        raise CollectorError(
            "the system lets this user send no ICMP echo; widen net.ipv4.ping_group_range, or method = 'tcp'"
        ) from None


class IcmpProber:
    """An ICMP datagram socket: the kernel fills in identifier and checksum and hands out only our replies.

    Many echoes may be under way at once. Each carries a nonce: a late, doubled or foreign reply counts for
    nothing.
    """

    def __init__(self, family: int, address: tuple[object, ...]) -> None:
        """Raises PermissionError where the system does not let this user."""
        self._request, self._reply = ECHO_TYPES[socket.AddressFamily(family)]
        self._sequence = 0
        self._waiting: dict[bytes, asyncio.Future[float]] = {}
        protocol = socket.IPPROTO_ICMP if family == socket.AF_INET else socket.IPPROTO_ICMPV6
        self._own = socket.socket(family, socket.SOCK_DGRAM, protocol)
        self._own.setblocking(False)
        self._loop = asyncio.get_running_loop()
        self._loop.add_reader(self._own, self._read)
        self._address = (address[0], 0)

    def _read(self) -> None:
        came_s = time.perf_counter()
        try:
            data = self._own.recv(LARGEST_REPLY)
        except OSError:
            # Somebody on the way says that the host cannot be reached: the probe is lost like any other.
            return
        if data and data[0] >> 4 == IPV4_VERSION:  # some systems put the IP header in front
            data = data[(data[0] & 0x0F) * 4 :]
        if len(data) < HEADER.size or data[0] != self._reply:
            return
        waiting = self._waiting.pop(data[HEADER.size :], None)
        if waiting is not None and not waiting.done():
            waiting.set_result(came_s)

    async def rtt_ms(self, timeout_s: float) -> float | None:
        """The round trip of one echo."""
        nonce = os.urandom(NONCE_BYTES)
        reply: asyncio.Future[float] = self._loop.create_future()
        self._waiting[nonce] = reply
        self._sequence = (self._sequence + 1) & 0xFFFF
        sent_s = time.perf_counter()
        try:
            self._own.sendto(HEADER.pack(self._request, 0, 0, 0, self._sequence) + nonce, self._address)
            async with asyncio.timeout(timeout_s):
                return (await reply - sent_s) * 1e3
        except OSError:
            return None
        finally:
            self._waiting.pop(nonce, None)

    def close(self) -> None:
        """Close the socket."""
        self._loop.remove_reader(self._own)
        self._own.close()


class TcpProber:
    """Times the opening of a connection. A refused one counts: the host has answered."""

    def __init__(self, family: int, address: tuple[object, ...]) -> None:
        self._family, self._address = family, address

    async def rtt_ms(self, timeout_s: float) -> float | None:
        """The time to the answer; a connection that the system had to ask for twice is a lost probe."""
        with socket.socket(self._family, socket.SOCK_STREAM) as own:
            own.setblocking(False)
            start_s = time.perf_counter()
            try:
                async with asyncio.timeout(timeout_s):
                    await asyncio.get_running_loop().sock_connect(own, self._address)
            except ConnectionRefusedError:
                return (time.perf_counter() - start_s) * 1e3
            except OSError:
                return None
            answered_s = time.perf_counter()
            facts = tcp_info(own)
        return None if facts is not None and facts.retransmits else (answered_s - start_s) * 1e3

    def close(self) -> None:
        """Every probe has closed its own socket."""
