"""TCP connections with a window of a chosen size, timed, and whom to trust on those with TLS."""

import asyncio
import socket
import ssl
import time
from functools import cache

# What waits in the computer unsent is neither on its way nor can it be called back.
UNSENT_BYTES = 65_536


@cache
def usual_trust() -> ssl.SSLContext:
    """The system's authorities: some megabytes, once for all inputs."""
    return ssl.create_default_context()


async def connect(host: str, port: int, window_bytes: int | None) -> tuple[socket.socket, float]:
    """A connection and the round trip (ms) of its opening. Raises OSError."""
    loop = asyncio.get_running_loop()
    family, _, _, _, address = (await loop.getaddrinfo(host, port, type=socket.SOCK_STREAM))[0]
    own = socket.socket(family, socket.SOCK_STREAM)
    try:
        own.setblocking(False)
        own.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if hasattr(socket, "TCP_NOTSENT_LOWAT"):
            own.setsockopt(socket.IPPROTO_TCP, socket.TCP_NOTSENT_LOWAT, UNSENT_BYTES)
        if window_bytes is not None:
            # Before the connection, because the window's scale is agreed on then (RFC 7323, section 2.2).
            own.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, window_bytes)
            own.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, window_bytes)
        start_s = time.perf_counter()
        await loop.sock_connect(own, address)
        return own, (time.perf_counter() - start_s) * 1e3
    except BaseException:
        own.close()
        raise
