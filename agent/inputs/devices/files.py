"""Small files of the kernel: one value each, read in a thread, because a driver may hang."""

from pathlib import Path

from agent.inputs.collectors.frame import CollectorError

MILLI = 1e-3
LONGEST_BYTES = 4096


def read_text(path: Path) -> str:
    """The text of a kernel's file; raises OSError, or CollectorError where it is no text."""
    with path.open("rb") as file:
        content = file.read(LONGEST_BYTES)
    try:
        return content.decode("ascii").strip()
    except UnicodeDecodeError:
        raise CollectorError(f"{path} holds {content[:20]!r}; expected text") from None


def thousandths(path: Path) -> float:
    """The value of a file in thousandths, such as millidegrees; raises OSError or CollectorError."""
    text = read_text(path)
    try:
        return int(text) * MILLI
    except ValueError:
        raise CollectorError(f"{path} holds {text[:20]!r}; expected a whole number") from None
