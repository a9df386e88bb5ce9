"""A line of a few Mbit/s to a server on this computer: a relay that takes its time over every packet."""

import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from agent.config import LOOPBACK

FLOW_MBPS = 1.0
PACKET_BYTES = 4096
PACKET_S = PACKET_BYTES * 8 / (FLOW_MBPS * 1e6)
# What waits here is neither at the one end nor at the other.
BUFFER_BYTES = 16_384


@contextmanager
def slow_line(port: int) -> Iterator[int]:
    """Its near end: a port that leads to that one, with FLOW_MBPS each way for every connection."""
    with socket.socket() as listener:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, BUFFER_BYTES)
        listener.bind((LOOPBACK, 0))
        listener.listen()
        threading.Thread(target=_accept, args=(listener, port), daemon=True).start()
        try:
            yield int(listener.getsockname()[1])
        finally:
            listener.shutdown(socket.SHUT_RDWR)


def _accept(listener: socket.socket, port: int) -> None:
    while True:
        try:
            near, _ = listener.accept()
        except OSError:
            return
        far = socket.create_connection((LOOPBACK, port))
        threading.Thread(target=_join, args=(near, far), daemon=True).start()


def _join(near: socket.socket, far: socket.socket) -> None:
    with near, far:
        back = threading.Thread(target=_carry, args=(far, near), daemon=True)
        back.start()
        _carry(near, far)
        back.join()


def _carry(from_end: socket.socket, to_end: socket.socket) -> None:
    """Until an end says no more, or is broken, and then both are."""
    try:
        while packet := from_end.recv(PACKET_BYTES):
            time.sleep(PACKET_S * len(packet) / PACKET_BYTES)
            to_end.sendall(packet)
        to_end.shutdown(socket.SHUT_WR)
    except OSError:
        for end in (from_end, to_end):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)
