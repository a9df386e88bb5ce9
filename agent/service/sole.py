"""Only one agent at a time keeps a store, and only one on a computer speaks for a terminal at a broker."""

import hashlib
import json
import logging
import os
import signal
import socket
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from filelock import FileLock, Timeout
from pydantic import TypeAdapter, ValidationError

from agent.config import Config
from agent.errors import UsageError
from agent.store.opening import disk_refusal

LOG = logging.getLogger(__name__)

# An agent that is asked to end says so to its broker and folds its log into the store.
HANDED_OVER_WITHIN_S = 30.0


@dataclass(frozen=True, slots=True)
class Owner:
    """Which agent it is."""

    terminal: str
    host: str
    process: int
    since: str

    def named(self) -> str:
        """In words."""
        return (
            f"the agent of {self.terminal} on {self.host}, process {self.process}, running since {self.since}"
        )


_OWNER = TypeAdapter(Owner)


def this_agent(terminal: str) -> Owner:
    """The agent of this process, from now on."""
    since = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return Owner(terminal, socket.gethostname(), os.getpid(), since)


def owner_in_status(payload: bytes) -> Owner | None:
    """Which agent says that it is online; None for any other message."""
    try:
        body = json.loads(payload)
        return _OWNER.validate_python(body["agent"]) if body["state"] == "online" else None
    except (ValueError, KeyError, TypeError):
        return None


def has_ended_here(owner: Owner) -> bool:
    """Whether that process was one of this computer and is gone: its last words may come to its heir."""
    if owner.host != socket.gethostname() or os.name == "nt":
        return False
    try:
        # Signal 0 only asks (POSIX, kill).
        os.kill(owner.process, 0)
    except ProcessLookupError:
        return True
    except PermissionError:
        return False
    return False


@contextmanager
def sole_agent(config: Config, take_over: bool) -> Iterator[None]:
    """Nobody else keeps this store or speaks for this terminal meanwhile; raises UsageError with who does.

    `take_over`: whoever does is asked to end first.
    """
    own = this_agent(config.job.terminal)
    store = config.store.path
    with ExitStack() as held:
        if store.parent.is_dir():
            held.enter_context(
                _held(store.with_name(f"{store.name}.agent"), f"store {store}", own, take_over)
            )
        held.enter_context(_held(_spoken_for(config), f"terminal {config.job.terminal}", own, take_over))
        yield


def _spoken_for(config: Config) -> Path:
    """A file of this user for the terminal at its broker."""
    name = f"{config.broker.host}:{config.broker.port}/{config.job.terminal}"
    digest = hashlib.sha256(name.encode()).hexdigest()[:16]
    user = str(os.getuid()) if hasattr(os, "getuid") else "user"
    return Path(tempfile.gettempdir()) / f"peakshade-{user}-{digest}"


@contextmanager
def _held(path: Path, what: str, own: Owner, take_over: bool) -> Iterator[None]:
    lock = FileLock(f"{path}.lock", mode=0o600, preserve_lock_file=True)
    note = path.with_name(f"{path.name}.json")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        other = _owner(note)
        if not take_over:
            name = "another agent" if other is None else other.named()
            raise UsageError(
                f"{what}: is kept by {name}; end that one, or let this one take over: --take-over"
            ) from None
        _take_over(lock, what, other, own)
    except OSError as error:
        if disk_refusal(path) is None:
            raise UsageError(f"{what}: {path}.lock cannot be made ({error}); check who owns it") from error
        LOG.warning("%s: nothing keeps a second agent away (%s)", what, error)
    try:
        _say_whose(note, own)
        yield
    finally:
        with suppress(OSError):
            note.unlink(missing_ok=True)
        lock.release()


def _say_whose(note: Path, own: Owner) -> None:
    """For the words of a refusal alone: where the disk does not take it, the lock holds all the same."""
    try:
        note.write_text(json.dumps(asdict(own)), encoding="utf-8")
    except OSError as error:
        LOG.warning("%s cannot be written: %s", note, error)


def _owner(note: Path) -> Owner | None:
    try:
        return _OWNER.validate_json(note.read_bytes())
    except (OSError, ValidationError):
        return None


def _take_over(lock: FileLock, what: str, other: Owner | None, own: Owner) -> None:
    if other is None or other.host != own.host:
        name = "an agent that does not say who it is" if other is None else other.named()
        raise UsageError(f"{what}: is kept by {name}, which cannot be asked from here; end it there")
    os.kill(other.process, signal.SIGTERM)
    deadline_s = time.monotonic() + HANDED_OVER_WITHIN_S
    try:
        lock.acquire(timeout=max(0.0, deadline_s - time.monotonic()))
    except Timeout:
        raise UsageError(
            f"{what}: {other.named()} has not ended within {HANDED_OVER_WITHIN_S:.0f} s; end it by hand"
        ) from None
