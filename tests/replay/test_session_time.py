"""Times of session files: exact both ways, and refused when they are neither form."""

from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.replay.session_time import rfc3339_from_unix_s, unix_s_from_cell, unix_s_from_column

# Years 2000 to 2100, where a float's step is a quarter of a microsecond or finer.
moments = st.floats(min_value=946_684_800.0, max_value=4_102_444_800.0)


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        # RFC 3339 section 5.8, its own examples.
        ("1985-04-12T23:20:50.52Z", datetime(1985, 4, 12, 23, 20, 50, 520_000, UTC).timestamp()),
        (
            "1996-12-19T16:39:57-08:00",
            datetime(1996, 12, 19, 16, 39, 57, tzinfo=timezone(-timedelta(hours=8))).timestamp(),
        ),
        ("1784358000", 1784358000.0),
        ("1784358000.25", 1784358000.25),
        (" 2026-07-18T09:00:00Z ", datetime(2026, 7, 18, 9, tzinfo=UTC).timestamp()),
    ],
)
def test_reads_both_forms(cell: str, expected: float) -> None:
    assert unix_s_from_cell(cell) == expected
    assert unix_s_from_column([cell]) == [expected]


@pytest.mark.parametrize(
    "cell",
    ["", "noon", "nan", "inf", "1e300", "2026-07-18T09:00:00", "2026-07-18", "2026-07-18T09:00Z"]
    + ["2026-07-18T09:00:61Z", "2026-07-18T09:00:00.Z", "2026-02-30T09:00:00Z", "2026-07-18T09:00:00.5xZ"],
)
def test_refuses_what_is_no_time(cell: str) -> None:
    known_minute = "2026-07-18T09:00:00Z"
    assert unix_s_from_cell(cell) is None
    assert unix_s_from_column([known_minute, cell])[1] is None


@given(moments)
def test_comes_back_exactly(moment: float) -> None:
    text = rfc3339_from_unix_s(moment)
    assert unix_s_from_cell(text) == moment
    assert unix_s_from_column([text, text]) == [moment, moment]


@given(st.lists(moments, max_size=20))
def test_column_agrees_with_the_standard_library(times: list[float]) -> None:
    whole = [datetime.fromtimestamp(int(moment), UTC) for moment in times]
    cells = [moment.isoformat().replace("+00:00", "Z") for moment in whole]
    assert unix_s_from_column(cells) == [moment.timestamp() for moment in whole]
