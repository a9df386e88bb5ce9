"""What goes into a spreadsheet stays text there."""

import csv
import io

import pandas as pd

from agent.report.tables import csv_text


def test_no_cell_becomes_a_formula() -> None:
    """OWASP, CSV Injection: cells that begin with =, +, -, @, a tab or a carriage return (from memory)."""
    texts = ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "fine", "a=b", "a;=1"]
    table = pd.DataFrame({"text": texts, "loss_db": [-1.5] * len(texts)})
    rows = list(csv.DictReader(io.StringIO(csv_text(table))))
    shown = ["'=1+1", "'+1", "'-1", "'@SUM(A1)", "'\t'=1", "fine", "a=b", "a;'=1"]
    assert [row["text"] for row in rows] == shown
    assert {row["loss_db"] for row in rows} == {"-1.5"}
