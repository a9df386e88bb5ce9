"""Opens the store for the one writer or for a reader, and words what stands in the way."""

import sqlite3
from contextlib import closing
from pathlib import Path

from agent.errors import UsageError
from agent.store.schema import APPLICATION_ID, applied, migrate, migrations

# Longer than a reader's longest query; then something is wrong.
BUSY_TIMEOUT_S = 10.0
# The write-ahead log is folded into the file whenever it has this many pages (4 MB).
CHECKPOINT_PAGES = 1000


class StoreError(UsageError):
    """The store cannot be used; the message says where, why and what to do."""


def open_for_writing(path: Path, now_unix_s: float) -> sqlite3.Connection:
    """Connection of the one writer, in autocommit mode, with the tables brought up to date.

    `synchronous=FULL`: in WAL mode only this waits at each commit until the disk has the data. With NORMAL a
    power cut loses the last commits, which the broker has been told are safe.
    """
    try:
        # Used by one task at a time, but from whichever worker thread runs that call.
        connection = sqlite3.connect(
            path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
        )
    except sqlite3.Error as error:
        raise _opening_error(path, error) from error
    try:
        _check_is_ours(connection, path)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
        migrate(connection, now_unix_s)
    except sqlite3.Error as error:
        connection.close()
        raise _opening_error(path, error) from error
    except BaseException:
        connection.close()
        raise
    return connection


def open_for_reading(path: Path) -> sqlite3.Connection:
    """Read-only connection; it can neither create the file nor hold up the writer."""
    if not path.exists():
        raise StoreError(f"store {path}: there is no such file; start the agent first: peakshade run CONFIG")
    try:
        connection = sqlite3.connect(
            f"{path.resolve().as_uri()}?mode=ro", uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None
        )
        _check_is_ours(connection, path)
    except sqlite3.Error as error:
        raise _opening_error(path, error) from error
    return connection


def _check_is_ours(connection: sqlite3.Connection, path: Path) -> None:
    with closing(connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")) as found:
        tables = {str(name) for (name,) in found}
    if not tables:
        return
    (application_id,) = connection.execute("PRAGMA application_id").fetchone()
    if "migration" not in tables or application_id != APPLICATION_ID:
        raise StoreError(
            f"store {path}: is the SQLite file of another program (tables {', '.join(sorted(tables)[:5])});"
            " name another file in the config: [store] path"
        )
    newer = applied(connection) - {name for name, _ in migrations()}
    if newer:
        raise StoreError(
            f"store {path}: was made by a newer version of peakshade ({', '.join(sorted(newer))});"
            " update peakshade, or name another file in the config: [store] path"
        )


def _opening_error(path: Path, error: sqlite3.Error) -> StoreError:
    advice = {
        sqlite3.SQLITE_NOTADB: "is not an SQLite file; name another file in the config: [store] path",
        sqlite3.SQLITE_CORRUPT: "is damaged; move it away, and recover it with: sqlite3 FILE .recover",
        sqlite3.SQLITE_CANTOPEN: f"cannot be opened; the folder {path.parent} must exist and be writable",
        sqlite3.SQLITE_READONLY: "may not be written; check who owns the file and its folder",
        sqlite3.SQLITE_PERM: "may not be read; check who owns the file and its folder",
        sqlite3.SQLITE_FULL: "cannot grow, the disk is full; free some space",
        sqlite3.SQLITE_BUSY: "is in use by another agent; stop that one, or name another file",
        sqlite3.SQLITE_LOCKED: "is in use by another agent; stop that one, or name another file",
    }
    primary = primary_code(error)
    return StoreError(f"store {path}: {advice.get(primary, 'cannot be used')} ({error})")


def primary_code(error: sqlite3.Error) -> int:
    """SQLite's primary result code; the extended ones keep it in the low byte (sqlite.org/rescode.html)."""
    return error.sqlite_errorcode & 0xFF
