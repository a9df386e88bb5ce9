"""Lines of a recorded file that cannot be used: skipped, counted, and listed with line, column and reason."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

LISTED = 10


@dataclass(frozen=True, slots=True)
class Fault:
    """Why something cannot be used: a sentence, and the reason to count by, which has no values in it."""

    text: str
    reason: str


@dataclass(frozen=True, slots=True)
class SkippedLine:
    """One line, or one reading of a line, that was left out."""

    file: str
    line: int
    fault: Fault

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}: {self.fault.text}"


def cell_fault(column: str, got: str, expected: str) -> Fault:
    """A cell that will not do."""
    return Fault(f"{column} is {got}; expected {expected}", f"{column}: expected {expected}")


def skipped_text(skipped: Sequence[SkippedLine]) -> list[str]:
    """The first ten, a count of the rest, and how many of each reason; nothing where nothing was skipped."""
    if not skipped:
        return []
    lines = [f"{one}; skipped" for one in skipped[:LISTED]]
    if len(skipped) > LISTED:
        lines.append(f"and {len(skipped) - LISTED} more lines skipped, {len(skipped)} in all:")
        counts = Counter((one.file, one.fault.reason) for one in skipped).most_common()
        lines += [f"  {file}: {count} x {reason}" for (file, reason), count in counts[:LISTED]]
    return lines


def all_skipped_text(skipped: Iterable[SkippedLine]) -> str:
    """The same as one text, for an error about files of which nothing can be used."""
    return "\n".join(skipped_text(list(skipped)))
