"""Real counterparts on the loopback for tests of the rate, and others that do not do what they should."""

import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from subprocess import DEVNULL, Popen
from zoneinfo import ZoneInfo

from agent.config import LOOPBACK
from agent.inputs.rates.rounds import Watchman
from agent.inputs.rates.turn import Turn
from tests.live import ROOT
from tests.processes import PATIENCE_S, free_port, listens, wait_until

TOKEN = "0123456789abcdef"
STREAM_MBPS = 2.5


@contextmanager
def responder(port: int, folder: Path, hour_mb: float = 2000.0) -> Iterator[Popen[bytes]]:
    """`peakshade respond` as users run it."""
    token_file = folder / "token.txt"
    token_file.write_text(f"{TOKEN}\n")
    words = [
        "respond",
        LOOPBACK,
        "--port",
        str(port),
        "--token-file",
        str(token_file),
        "--hour-mb",
        f"{hour_mb}",
    ]
    process = Popen([sys.executable, "-m", "agent", *words], cwd=ROOT, stdout=DEVNULL)
    try:
        wait_until(lambda: listens(port), PATIENCE_S, "the responder listens")
        yield process
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


@contextmanager
def file_server(folder: Path) -> Iterator[int]:
    """Python's own HTTP server; its port."""
    port = free_port()
    words = ["-m", "http.server", "--bind", LOOPBACK, "--directory", str(folder), str(port)]
    process = Popen([sys.executable, *words], stdout=DEVNULL, stderr=DEVNULL)
    try:
        wait_until(lambda: listens(port), PATIENCE_S, "the file server listens")
        yield port
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


@contextmanager
def answering(answer: bytes, close: bool = True) -> Iterator[int]:
    """Answers everything with these bytes, and then closes or says nothing more."""
    listener = socket.create_server((LOOPBACK, 0))
    kept: list[socket.socket] = []

    def serve() -> None:
        while True:
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            if not close:
                kept.append(connection)
            # The other end may have gone, as a look whether anybody listens does.
            with suppress(ConnectionError):
                connection.recv(65_536)
                connection.sendall(answer)
            if close:
                connection.close()

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield int(listener.getsockname()[1])
    finally:
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join(10.0)
        for connection in kept:
            connection.close()


def watchman(folder: Path, live: Callable[[], bool] = lambda: False) -> Watchman:
    """Lets tests run unless a stream is live."""
    return Watchman(Turn(folder / "tests.json", ZoneInfo("UTC")), time.time, live, STREAM_MBPS)
