"""A server of pages whose threads no single address can keep busy with requests that it does not finish."""

import threading
from collections import Counter, deque
from typing import Any

from cheroot.server import HTTPConnection
from cheroot.wsgi import Server

# A browser opens six connections to a server (common practice), and several phones may share an address.
MOST_AT_ONCE = 12
MOST_WAITING = 100


class _Turn(HTTPConnection):
    """One connection, which says when its turn is over."""

    def communicate(self) -> bool:
        """Part of cheroot's connection: whether it stays open."""
        try:
            return bool(super().communicate())  # type: ignore[no-untyped-call]
        finally:
            self.server.turn_over(str(self.remote_addr))


class FairServer(Server):
    """Of one address so many connections are worked on at once; the next ones wait, and more are closed."""

    ConnectionClass = _Turn

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        self._lock = threading.Lock()
        self._at_work: Counter[str] = Counter()
        self._waiting: dict[str, deque[HTTPConnection]] = {}

    def process_conn(self, conn: HTTPConnection) -> None:
        """Part of cheroot's server: a connection has something to read."""
        address = str(conn.remote_addr)
        with self._lock:
            waiting = self._waiting.setdefault(address, deque())
            begins = self._at_work[address] < MOST_AT_ONCE
            if begins:
                self._at_work[address] += 1
            elif len(waiting) < MOST_WAITING:
                waiting.append(conn)
                return
        if begins:
            super().process_conn(conn)
        else:
            conn.close()

    def turn_over(self, address: str) -> None:
        """The next connection of this address has its turn."""
        with self._lock:
            self._at_work[address] -= 1
            following = self._waiting[address].popleft() if self._waiting[address] else None
            if not self._at_work[address] and following is None:
                del self._at_work[address], self._waiting[address]
        if following is not None:
            self.process_conn(following)
