"""Opens the store for the one writer or for a reader, and words what stands in the way."""

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from itertools import chain, count
from pathlib import Path
from tempfile import TemporaryFile

from agent.errors import UsageError
from agent.records import KINDS
from agent.store.schema import APPLICATION_ID, applied, migrate, migrations

# Longer than a reader's longest query; then something is wrong.
BUSY_TIMEOUT_S = 10.0
# The write-ahead log is folded into the file whenever it has this many pages (4 MB).
CHECKPOINT_PAGES = 1000


class StoreError(UsageError):
    """The store cannot be used; the message says where, why and what to do."""


class DamagedError(StoreError):
    """The file is not, or no longer, a sound store."""


# What is wrong with a call that fails for the disk's sake, and not the file's.
_SURROUNDINGS = {
    sqlite3.SQLITE_CANTOPEN: "cannot be opened; the folder {folder} must exist and be writable",
    sqlite3.SQLITE_READONLY: "may not be written; check who owns the file and its folder",
    sqlite3.SQLITE_PERM: "may not be read; check who owns the file and its folder",
    sqlite3.SQLITE_FULL: "cannot grow, the disk is full; free some space",
    sqlite3.SQLITE_BUSY: "is in use by another program; end that one, or name another file",
    sqlite3.SQLITE_LOCKED: "is in use by another program; end that one, or name another file",
}
# What SQLite says where a disk takes nothing.
_DISK_CODES = (sqlite3.SQLITE_IOERR, sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN)
# With less than this left, an error of writing is taken for a full disk.
FULL_BELOW_BYTES = 1_000_000
# Beside the file: the log of what is not folded into it yet, and its index.
LOG_SUFFIX, INDEX_SUFFIX = "-wal", "-shm"
# Device and file.
FileNumber = tuple[int, int] | None
_RESCUE = "what can be read of it comes back with: peakshade rescue FILE OUT"


def open_for_writing(path: Path, now_unix_s: float) -> sqlite3.Connection:
    """Connection of the one writer, in autocommit mode, with the tables brought up to date.

    `synchronous=FULL`: in WAL mode only this waits at each commit until the disk has the data. With NORMAL a
    power cut loses the last commits, which the broker has been told are safe.
    """
    log = Path(f"{path}{LOG_SUFFIX}")
    if path.is_file() and path.stat().st_size == 0 and log.exists() and log.stat().st_size > 0:
        # SQLite would throw the log away, and with it what it holds.
        raise DamagedError(f"store {path}: is empty, but {log.name} is not; {_RESCUE}")
    new = not path.exists()
    if path.is_file() and path.stat().st_size > 0:
        # A connection that may write folds the log into the file when it is closed, whatever the log is.
        open_for_reading(path).close()
    try:
        # Used by one task at a time, but from whichever worker thread runs that call.
        connection = sqlite3.connect(
            path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
        )
    except sqlite3.Error as error:
        raise _opening_error(path, error) from error
    try:
        _check_is_ours(connection, path)
        if new and path.exists():
            # The log takes over the rights of the file.
            path.chmod(0o600)
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
        if len(tables & set(KINDS)) > 1 or _header_id(path) == APPLICATION_ID:
            raise DamagedError(f"store {path}: is damaged, as its header shows; {_RESCUE}")
        raise StoreError(
            f"store {path}: is the SQLite file of another program (tables {', '.join(sorted(tables)[:5])});"
            " name another file in the config: [store] path"
        )
    done, known = applied(connection), {name for name, _ in migrations()}
    newer = done - known
    if newer and not known <= done:
        raise DamagedError(f"store {path}: is damaged, as its list of changes shows; {_RESCUE}")
    if newer:
        raise StoreError(
            f"store {path}: was made by a newer version of peakshade ({', '.join(sorted(newer))});"
            " update peakshade, or name another file in the config: [store] path"
        )


def _header_id(path: Path) -> int | None:
    """The application id in the file itself, whatever its log says (sqlite.org/fileformat2.html, 1.3)."""
    if not path.is_file():
        return None
    with path.open("rb") as file:
        return int.from_bytes(file.read(100)[68:72], "big")


def _opening_error(path: Path, error: sqlite3.Error) -> StoreError:
    around = surroundings(path, error)
    if around is not None:
        return StoreError(f"store {path}: {around} ({error})")
    kind = (
        "is not an SQLite file, or damaged" if primary_code(error) == sqlite3.SQLITE_NOTADB else "is damaged"
    )
    return DamagedError(f"store {path}: {kind} ({error}); {_RESCUE}")


def surroundings(path: Path, error: sqlite3.Error) -> str | None:
    """What stands in the way where that is not the file's own state, None where the file is damaged."""
    code, folder = primary_code(error), path.resolve().parent
    if code == sqlite3.SQLITE_IOERR and folder.is_dir() and shutil.disk_usage(folder).free < FULL_BELOW_BYTES:
        code = sqlite3.SQLITE_FULL
    refusal = disk_refusal(path) if code in _DISK_CODES else None
    if refusal is not None:
        return refusal
    words = _SURROUNDINGS.get(code)
    return None if words is None else words.format(folder=path.parent)


def disk_refusal(path: Path) -> str | None:
    """What the disk that the file is on says to whoever would write there; None: it takes a byte.

    A file system that an error has stopped does not always say in its flags that it is read-only.
    """
    try:
        with TemporaryFile(dir=path.resolve().parent, buffering=0) as probe:
            probe.write(b"?")
            return None
    except (PermissionError, FileNotFoundError, NotADirectoryError):
        # The folder's own state, which does not pass by itself.
        return None
    except OSError as error:
        return f"is on a disk that takes nothing ({error.strerror}); make it writable again, or change it"


def set_aside(path: Path, now_unix_s: float) -> Path:
    """Give a damaged store, with its log, another name; returns that. Raises OSError."""
    stamp = datetime.fromtimestamp(now_unix_s, UTC).strftime("%Y%m%dT%H%M%SZ")
    endings = chain(("",), map("-{}".format, count(1)))
    names = (path.with_name(f"{path.name}.damaged-{stamp}{ending}") for ending in endings)
    name = next(one for one in names if not one.exists())
    for suffix in ("", LOG_SUFFIX, INDEX_SUFFIX):
        part = Path(f"{path}{suffix}")
        if part.exists():
            part.rename(f"{name}{suffix}")
    return name


def forget_log(path: Path) -> None:
    """Remove the log of a store that has lost its name: beside another file it would count for that."""
    for suffix in (LOG_SUFFIX, INDEX_SUFFIX):
        Path(f"{path}{suffix}").unlink(missing_ok=True)


def wrong_with(path: Path) -> str | None:
    """What SQLite finds when it goes through the whole file; None: all is well, or it cannot be looked at."""
    try:
        with closing(open_for_reading(path)) as connection:
            (found,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    except DamagedError as error:
        return str(error)
    except StoreError:
        return None
    except sqlite3.Error as error:
        return str(error) if surroundings(path, error) is None else None
    return None if found == "ok" else str(found)


def readable(path: Path) -> bool:
    """Whether a reader gets at the newest rows; True where something around the file keeps it from them."""
    try:
        with closing(open_for_reading(path)) as connection:
            for kind in KINDS:
                connection.execute(f'SELECT * FROM "{kind}" ORDER BY seq DESC LIMIT 1').fetchone()
            connection.execute("SELECT body FROM situation").fetchone()
    except DamagedError:
        return False
    except StoreError:
        return True
    except sqlite3.Error as error:
        return surroundings(path, error) is not None
    return True


def identity(path: Path) -> tuple[FileNumber, FileNumber]:
    """Which files have the names of the store and its log, by their numbers; None where none has."""
    return _number(path), _number(Path(f"{path}{LOG_SUFFIX}"))


def _number(path: Path) -> FileNumber:
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    # The same disk, mounted once more, is another device.
    return found.st_dev, found.st_ino


def primary_code(error: sqlite3.Error) -> int:
    """SQLite's primary result code; the extended ones keep it in the low byte (sqlite.org/rescode.html)."""
    # Errors of Python's module itself, such as text that is no UTF-8, have none.
    return getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR) & 0xFF
