"""The rows of a CSV file that can be used, and the lines that cannot."""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence

from agent.replay.skipped import Fault, SkippedLine

RAGGED = "it was cut short or a comma stands without quotes"
# Bytes that are not UTF-8 are decoded to these (PEP 383).
NOT_UTF_8 = re.compile("[\\udc80-\\udcff]")


class Rows:
    """The rows under the header that can still be used, and why the others cannot."""

    def __init__(self, text: str, name: str, delimiter: str = ",") -> None:
        self.skipped: list[SkippedLine] = []
        self._text, self._name, self._delimiter = text, name, delimiter
        self._line_of: list[int] | None = None
        try:
            rows = list(filter(None, self._reader(io.StringIO(text, newline=""))))
            numbers = None
        except csv.Error:
            rows, numbers = self._line_by_line()
        self.header = [cell.strip() for cell in rows[0]] if rows else None
        self.rows = rows[1:]
        self._numbers = list(range(len(self.rows))) if numbers is None else numbers[1:]
        self._by_line = numbers is not None

    def _line_by_line(self) -> tuple[list[list[str]], list[int]]:
        """A damaged file: each line by itself, so that an open quote costs its own line only."""
        rows, numbers = [], []
        for number, line in enumerate(self._text.splitlines(), 1):
            try:
                row = next(self._reader([line]), [])
            except csv.Error as error:
                self.skipped.append(
                    SkippedLine(self._name, number, Fault(f"is not CSV ({error})", "not CSV"))
                )
                continue
            if row:
                rows.append(row)
                numbers.append(number)
        return rows, numbers

    def _reader(self, lines: Iterable[str]) -> Iterator[list[str]]:
        return csv.reader(lines, delimiter=self._delimiter, strict=True)

    def columns(self) -> dict[str, Sequence[str]]:
        """The cells of each column."""
        header = self.header or []
        cells: list[Sequence[str]] = list(zip(*self.rows, strict=True)) if self.rows else [()] * len(header)
        return dict(zip(header, cells, strict=True))

    def drop(self, faults: Mapping[int, Fault]) -> None:
        """Leave out rows by their index."""
        for index, fault in faults.items():
            self.note(index, fault)
        self.rows = [row for index, row in enumerate(self.rows) if index not in faults]
        self._numbers = [number for index, number in enumerate(self._numbers) if index not in faults]

    def note(self, index: int, fault: Fault) -> None:
        """Say what is wrong with the row, or with a part of it."""
        self.skipped.append(SkippedLine(self._name, self.line(index), fault))

    def drop_ragged(self) -> None:
        """Leave out rows that have not as many cells as the header, or hold what is no text."""
        width = len(self.header or [])
        faults = {
            index: Fault(f"{len(row)} cells; expected {width}; {RAGGED}", "another count of cells")
            for index, row in enumerate(self.rows)
            if len(row) != width
        }
        if not self._text.isascii():
            faults |= {
                index: Fault("bytes that are no text; expected UTF-8; save the file as UTF-8", "not UTF-8")
                for index, row in enumerate(self.rows)
                if any(NOT_UTF_8.search(cell) for cell in row)
            }
        if faults:
            self.drop(faults)

    def line(self, index: int) -> int:
        """The line on which the row ends; quoted cells may hold line ends."""
        if self._by_line:
            return self._numbers[index]
        if self._line_of is None:
            reader = csv.reader(io.StringIO(self._text, newline=""), delimiter=self._delimiter)
            self._line_of = [reader.line_num for row in reader if row][1:]
        return self._line_of[self._numbers[index]]
