"""Lines of a recorded file that cannot be used: skipped, counted, and listed with line, column and reason."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LISTED = 10


@dataclass(frozen=True, slots=True)
class SkippedLine:
    """One line that was left out. `column` is empty where no single cell is at fault.

    `got` is what stands there, `expected` what would do, and with the column the reason to count by.
    """

    file: str
    line: int
    column: str
    got: str
    expected: str

    @property
    def reason(self) -> str:
        """What was expected of which column; the same for every line of the same fault."""
        return f"{self.column or 'the line'}: expected {self.expected}"

    def __str__(self) -> str:
        subject = f"{self.column} is {self.got}" if self.column else self.got
        return f"{self.file}, line {self.line}: {subject}; expected {self.expected}"


def skipped_text(skipped: Sequence[SkippedLine]) -> list[str]:
    """The first ten, a count of the rest, and how many of each reason; nothing where nothing was skipped."""
    if not skipped:
        return []
    lines = [f"{one}; skipped" for one in skipped[:LISTED]]
    if len(skipped) > LISTED:
        lines.append(f"and {len(skipped) - LISTED} more lines skipped, {len(skipped)} in all:")
        counts = Counter((one.file, one.reason) for one in skipped).most_common()
        lines += [f"  {file}: {count} x {reason}" for (file, reason), count in counts[:LISTED]]
    return lines


def all_skipped_text(skipped: Iterable[SkippedLine]) -> str:
    """The same as one text, for an error about files of which nothing can be used."""
    return "\n".join(skipped_text(list(skipped)))
