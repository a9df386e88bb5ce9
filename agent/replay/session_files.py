"""The text of a session's file, packed or not, whole or damaged, or a table, with bounded memory."""

import io
import zlib
from pathlib import Path

from agent.errors import UsageError
from agent.extras import module_with_extra
from agent.replay.csv_rows import NOT_UTF_8
from agent.replay.skipped import Fault, SkippedLine

# Twelve hours of ten readings a second have 30 MB.
MAX_FILE_BYTES = 200_000_000
UNPACKED_AT_ONCE = 65_536
TOO_LARGE = f"{{path}}: has more than {MAX_FILE_BYTES // 10**6} MB; a session holds one day"
PARQUET = ".parquet"
GZIP = 16  # added to the window's size it makes zlib read gzip's header and checksum


def whole_text(path: Path) -> str:
    """The text of a file of which every byte counts; raises UsageError."""
    text, cut = csv_text(path)
    if cut or NOT_UTF_8.search(text):
        raise UsageError(f"{path}: is damaged or no UTF-8 text; copy it again, or save the file as UTF-8")
    return text


def csv_text(path: Path) -> tuple[str, list[SkippedLine]]:
    """The file's text, with bytes that are no UTF-8 as PEP 383 has them, and the line where it breaks off.

    Only a packed file (.gz) breaks off; what can be unpacked of it is returned. Raises UsageError.
    """
    if path.suffix == PARQUET:
        return _table_text(path), []
    try:
        with path.open("rb") as file:
            data = file.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        raise UsageError(f"{path}: is missing; a session folder needs it") from None
    except OSError as error:
        raise UsageError(f"{path}: cannot be read ({error.strerror})") from None
    whole = True
    if path.suffix == ".gz":
        data, whole = _unpacked(data)
    if len(data) > MAX_FILE_BYTES:
        raise UsageError(TOO_LARGE.format(path=path))
    # Spreadsheets put a byte-order mark in front.
    text = data.decode("utf-8-sig", "surrogateescape")
    if whole:
        return text, []
    kept = text[: text.rfind("\n") + 1]
    line = kept.count("\n") + 1
    cut = Fault("here the packed file is damaged or was cut short; copy it again", "damaged or cut short")
    return kept, [SkippedLine(str(path), line, cut)]


def _table_text(path: Path) -> str:
    """A table of Apache Parquet as the CSV text of the same cells; times with a zone in UTC."""
    names = ("pyarrow", "pyarrow.csv", "pyarrow.parquet")
    pyarrow, csv, parquet = (module_with_extra(name, str(path)) for name in names)
    try:
        with parquet.ParquetFile(path) as file:
            groups = [file.metadata.row_group(number) for number in range(file.num_row_groups)]
            if sum(group.total_byte_size for group in groups) > MAX_FILE_BYTES:
                raise UsageError(TOO_LARGE.format(path=path))
            table = file.read()
    except (pyarrow.ArrowException, OSError) as error:
        raise UsageError(f"{path}: cannot be read as a table of Parquet ({error}); write it again") from None
    for place, field in enumerate(table.schema):
        if pyarrow.types.is_timestamp(field.type) and field.type.tz is not None:
            utc = table.column(place).cast(pyarrow.timestamp(field.type.unit, "UTC"))
            table = table.set_column(place, field.name, utc)
    out = io.BytesIO()
    csv.write_csv(table, out)
    return out.getvalue().decode()


def _unpacked(data: bytes) -> tuple[bytes, bool]:
    """What can be unpacked, at most a byte more than a file may have, and whether that is all."""
    unpacking = zlib.decompressobj(zlib.MAX_WBITS | GZIP)
    out = bytearray()
    try:
        for start in range(0, len(data), UNPACKED_AT_ONCE):
            chunk = data[start : start + UNPACKED_AT_ONCE]
            out += unpacking.decompress(chunk, MAX_FILE_BYTES + 1 - len(out))
            if unpacking.eof or len(out) > MAX_FILE_BYTES:
                break
    except zlib.error:
        return bytes(out), False
    return bytes(out), unpacking.eof or len(out) > MAX_FILE_BYTES
