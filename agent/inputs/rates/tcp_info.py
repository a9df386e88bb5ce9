"""What Linux knows about one TCP connection: `struct tcp_info` of <linux/tcp.h>."""

import socket
import struct
import sys
from dataclasses import dataclass
from typing import Protocol, overload

# Offsets in the struct, which only ever grows at its end; read from the header of Linux 6.1.
TOTAL_RETRANSMITS = 100
BYTES_ACKED = 120
BUSY_US, WINDOW_LIMITED_US, BUFFER_LIMITED_US = 168, 176, 184
SEND_WINDOW, RECEIVE_WINDOW = 228, 232
SIZE = 256


class Socket(Protocol):
    """A socket, or asyncio's view of one."""

    @overload
    def getsockopt(self, level: int, name: int, /) -> int: ...
    @overload
    def getsockopt(self, level: int, name: int, length: int, /) -> bytes: ...


@dataclass(frozen=True, slots=True)
class TcpInfo:
    """`limited_s`: of the `busy_s` in which there was something to send, how long a window held it back.

    `send_window_bytes` is what the other end offers and the own buffer holds, `receive_window_bytes` what
    this end offers; 0 where the system does not tell.
    """

    retransmits: int
    bytes_acked: int
    busy_s: float
    limited_s: float
    send_window_bytes: int
    receive_window_bytes: int


def tcp_info(connection: Socket) -> TcpInfo | None:
    """The facts of a connection; None where the system does not tell them."""
    raw = b""
    if sys.platform == "linux":
        raw = connection.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, SIZE)
    if len(raw) < BUFFER_LIMITED_US + 8:
        return None
    raw = raw.ljust(SIZE, b"\0")
    return TcpInfo(
        retransmits=_u32(raw, TOTAL_RETRANSMITS),
        bytes_acked=_u64(raw, BYTES_ACKED),
        busy_s=_u64(raw, BUSY_US) / 1e6,
        limited_s=(_u64(raw, WINDOW_LIMITED_US) + _u64(raw, BUFFER_LIMITED_US)) / 1e6,
        send_window_bytes=min(
            _u32(raw, SEND_WINDOW), connection.getsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF)
        ),
        receive_window_bytes=_u32(raw, RECEIVE_WINDOW),
    )


def _u32(raw: bytes, offset: int) -> int:
    return int(struct.unpack_from("=I", raw, offset)[0])


def _u64(raw: bytes, offset: int) -> int:
    return int(struct.unpack_from("=Q", raw, offset)[0])
