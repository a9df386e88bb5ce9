"""CSV files of which no cell is a formula to a spreadsheet, and the text back again. Pure."""

import csv
import io
import re
from collections.abc import Iterable, Sequence

# OWASP, CSV Injection (from memory). Whoever separates by semicolons or tabs begins a cell there too.
_SIGNS = r"=+\-@\uff1d\uff0b\uff0d\uff20"
_FORMULA = re.compile(rf"^(?='*[\t\r{_SIGNS}])|(?<=[;\t\r\n])(?='*[{_SIGNS}])")
_GUARDED = re.compile(rf"^'(?='*[\t\r{_SIGNS}])|(?<=[;\t\r\n])'(?='*[{_SIGNS}])")


def guarded(text: str) -> str:
    """The text with an apostrophe before whatever would be a formula."""
    return _FORMULA.sub("'", text)


def unguarded(text: str) -> str:
    """The text that `guarded` was given."""
    return _GUARDED.sub("", text) if "'" in text else text


def csv_of(rows: Iterable[Sequence[str]]) -> str:
    """The text of a CSV file. Before Python 3.13 its writer leaves a carriage return without quotes."""
    out = io.StringIO(newline="")
    plain = csv.writer(out, lineterminator="\n")
    quoting = csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL)
    for row in rows:
        (quoting if any("\r" in cell for cell in row) else plain).writerow(row)
    return out.getvalue()
