"""Older readings of one kind as one compressed piece, exact to the last bit."""

import json
import struct
import zlib
from collections.abc import Mapping, Sequence

import numpy as np

LEVEL = 6
# What a column holds: nothing, numbers of these types, or texts.
NOTHING, REAL, INTEGER, TEXT = "-", "<f8", "<i8", "text"
_LENGTH = struct.Struct("<I")

Cell = None | float | int | str


def packed(columns: Mapping[str, Sequence[Cell]]) -> bytes:
    """The columns, all of one length and each of one type or None, as bytes."""
    parts: list[bytes] = []
    head: list[tuple[str, str, int]] = []
    for name, cells in columns.items():
        kind, data = _column(cells)
        head.append((name, kind, len(data)))
        parts.append(data)
    text = json.dumps(head).encode()
    return zlib.compress(b"".join((_LENGTH.pack(len(text)), text, *parts)), LEVEL)


def unpacked(data: bytes, names: Sequence[str], count: int) -> list[Sequence[Cell]]:
    """The columns of these names, each of `count` cells; one that was not packed holds None.

    Raises ValueError where the bytes were damaged.
    """
    try:
        plain = zlib.decompress(data)
    except zlib.error as error:
        raise ValueError(f"packed readings cannot be unpacked ({error})") from error
    start = _LENGTH.size + _LENGTH.unpack_from(plain)[0]
    places: dict[str, tuple[str, int, int]] = {}
    for name, kind, length in json.loads(plain[_LENGTH.size : start]):
        places[name] = (kind, start, start + length)
        start += length
    found: list[Sequence[Cell]] = []
    for name in names:
        kind, first, last = places.get(name, (NOTHING, 0, 0))
        found.append(_cells(kind, plain[first:last], count))
    return found


def _column(cells: Sequence[Cell]) -> tuple[str, bytes]:
    known = [cell for cell in cells if cell is not None]
    if not known:
        return NOTHING, b""
    if isinstance(known[0], str):
        return TEXT, json.dumps(cells, ensure_ascii=False).encode()
    kind = INTEGER if isinstance(known[0], int) else REAL
    absent = np.array([cell is None for cell in cells], np.uint8)
    values = np.array([0 if cell is None else cell for cell in cells], kind)
    # Bytes of equal weight side by side: those that hardly change compress to nothing.
    return kind, np.packbits(absent).tobytes() + values.view(np.uint8).reshape(-1, 8).T.tobytes()


def _cells(kind: str, data: bytes, count: int) -> Sequence[Cell]:
    if kind == NOTHING:
        return [None] * count
    if kind == TEXT:
        texts: list[Cell] = json.loads(data)
        return texts
    bits = (count + 7) // 8
    absent = np.unpackbits(np.frombuffer(data[:bits], np.uint8), count=count)
    shuffled = np.frombuffer(data[bits:], np.uint8).reshape(8, count)
    values: list[Cell] = np.ascontiguousarray(shuffled.T).view(kind).ravel().tolist()
    if absent.any():
        return [None if gone else value for gone, value in zip(absent, values, strict=True)]
    return values
