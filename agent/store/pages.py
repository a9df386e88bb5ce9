"""Rows out of the pages of an SQLite file, as far as they can be read, without what leads to them.

Follows "Database File Format" (sqlite.org/fileformat2.html): b-tree pages in section 1.6, records in 2.1, the
write-ahead log in 4. Every page is looked at by itself: a damaged one costs its own rows only.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from agent.store.opening import LOG_SUFFIX

PAGE_BYTES = 4096  # of a file whose header does not tell
HEADER_BYTES = 100
LOG_HEADER_BYTES, FRAME_HEADER_BYTES = 32, 24
TABLE_LEAF, INDEX_LEAF, INDEX_INNER = 0x0D, 0x0A, 0x02
# A longer chain of overflow pages than the largest text of ours has lost its way.
MOST_OVERFLOW_PAGES = 20_000
# Of serial types 0 to 9 (section 2.1).
SIZES = (0, 1, 2, 3, 4, 6, 8, 8, 0, 0)

Value = None | int | float | str | bytes


@dataclass(frozen=True, slots=True)
class Row:
    """One record; `rowid` is None on the pages of an index or of a table without row ids."""

    rowid: int | None
    values: tuple[Value, ...]


class Pages:
    """The pages of a store, those in its log before those in the file."""

    def __init__(self, path: Path) -> None:
        """Raises OSError."""
        self._data = path.read_bytes()
        self.size = _page_bytes(self._data)
        log = Path(f"{path}{LOG_SUFFIX}")
        self._logged = _logged(log.read_bytes(), self.size) if log.exists() else {}

    def numbers(self) -> Iterator[int]:
        """Of all pages, from 1."""
        yield from range(1, max([len(self._data) // self.size, *self._logged]) + 1)

    def page(self, number: int) -> bytes:
        """Its bytes, fewer where the file ends."""
        return self._logged.get(number) or self._data[(number - 1) * self.size : number * self.size]

    def rows(self, number: int) -> Iterator[Row]:
        """The rows on a page that can be read; none where it is no page of rows."""
        page = self.page(number)
        start = HEADER_BYTES if number == 1 else 0
        if len(page) < self.size or page[start] not in (TABLE_LEAF, INDEX_LEAF, INDEX_INNER):
            return
        kind = page[start]
        (count,) = struct.unpack_from(">H", page, start + 3)
        first = start + (12 if kind == INDEX_INNER else 8)
        for at in range(first, min(first + 2 * count, self.size - 1), 2):
            (cell,) = struct.unpack_from(">H", page, at)
            try:
                yield self._row(kind, page, cell)
            except (IndexError, ValueError, struct.error):
                continue

    def _row(self, kind: int, page: bytes, at: int) -> Row:
        at += 4 if kind == INDEX_INNER else 0
        size, at = _varint(page, at)
        rowid = None
        if kind == TABLE_LEAF:
            rowid, at = _varint(page, at)
        return Row(rowid, _record(self._payload(kind, page, at, size)))

    def _payload(self, kind: int, page: bytes, at: int, size: int) -> bytes:
        usable = self.size
        most = usable - 35 if kind == TABLE_LEAF else (usable - 12) * 64 // 255 - 23
        if size <= most:
            return _exactly(page[at : at + size], size)
        least = (usable - 12) * 32 // 255 - 23
        local = least + (size - least) % (usable - 4)
        local = local if local <= most else least
        parts = [_exactly(page[at : at + local], local)]
        (following,) = struct.unpack_from(">I", page, at + local)
        left = size - local
        for _ in range(MOST_OVERFLOW_PAGES):
            if left <= 0:
                break
            more = _exactly(self.page(following), usable)
            (following,) = struct.unpack_from(">I", more)
            parts.append(more[4 : 4 + left])
            left -= usable - 4
        return _exactly(b"".join(parts), size)


def _page_bytes(data: bytes) -> int:
    found = int.from_bytes(data[16:18], "big")
    size = 65_536 if found == 1 else found
    return size if size >= 512 and size & (size - 1) == 0 else PAGE_BYTES


def _logged(data: bytes, page_bytes: int) -> dict[int, bytes]:
    """The latest page of each number in the committed frames of a log."""
    found: dict[int, bytes] = {}
    waiting: dict[int, bytes] = {}
    step = FRAME_HEADER_BYTES + page_bytes
    if data[8:12] != page_bytes.to_bytes(4, "big"):
        return found
    for at in range(LOG_HEADER_BYTES, len(data) - step + 1, step):
        number, committed = struct.unpack_from(">II", data, at)
        if data[at + 8 : at + 16] != data[16:24]:
            break
        waiting[number] = data[at + FRAME_HEADER_BYTES : at + step]
        if committed:
            found |= waiting
            waiting = {}
    return found


def _exactly(data: bytes, size: int) -> bytes:
    if len(data) != size:
        raise ValueError(f"{size} bytes expected, {len(data)} there")
    return data


def _varint(data: bytes, at: int) -> tuple[int, int]:
    value = 0
    for index in range(8):
        byte = data[at + index]
        value = value << 7 | byte & 0x7F
        if byte < 0x80:
            return value, at + index + 1
    value = value << 8 | data[at + 8]
    return value - (1 << 64) if value >> 63 else value, at + 9


def _record(data: bytes) -> tuple[Value, ...]:
    end, at = _varint(data, 0)
    body = end
    values: list[Value] = []
    while at < end:
        serial, at = _varint(data, at)
        size = SIZES[serial] if serial < len(SIZES) else (serial - 12) // 2
        if serial in (10, 11) or size < 0:
            raise ValueError(f"no serial type {serial}")
        values.append(_value(serial, _exactly(data[body : body + size], size)))
        body += size
    return tuple(values)


def _value(serial: int, data: bytes) -> Value:
    if serial == 0:
        return None
    if serial in (8, 9):
        return serial - 8
    if serial == 7:
        return float(struct.unpack(">d", data)[0])
    if serial < 7:
        return int.from_bytes(data, "big", signed=True)
    return data.decode() if serial % 2 else data
