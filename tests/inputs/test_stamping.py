"""The engine's time of a live reading."""

from math import inf

import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.inputs.stamping import Stamper
from agent.records import Signal

NOW_UNIX_S = 1_784_365_200.0
TOLERANCE_S = 120.0
# In eighths, which floats hold exactly.
SECONDS = st.integers(-8000, 8000).map(lambda eighths: eighths / 8.0)


def stamped(stamper: Stamper, claim_s: float, received_s: float = 0.0) -> tuple[float, float | None]:
    """Stamp and kept claim of a reading, as seconds from now."""
    reading = Signal(unix_s=NOW_UNIX_S + claim_s, esno_db=9.0)
    got = stamper.stamp(reading, NOW_UNIX_S + received_s)
    sent_s = None if got.sent_unix_s is None else got.sent_unix_s - NOW_UNIX_S
    return got.unix_s - NOW_UNIX_S, sent_s


@pytest.mark.parametrize(
    ("claim_s", "expected"),
    [
        (-0.5, (-0.5, None)),
        (-120.0, (-120.0, None)),
        (-121.0, (0.0, -121.0)),
        (30.0, (0.0, None)),
        (120.0, (0.0, None)),
        (121.0, (0.0, 121.0)),
        (3600.0, (0.0, 3600.0)),
    ],
)
def test_a_claim_within_the_tolerance_counts_but_never_the_future(
    claim_s: float, expected: tuple[float, float | None]
) -> None:
    assert stamped(Stamper(TOLERANCE_S), claim_s) == expected


def test_what_comes_late_counts_as_of_the_latest() -> None:
    stamper = Stamper(TOLERANCE_S)
    assert stamped(stamper, 0.0) == (0.0, None)
    assert stamped(stamper, -5.0, 1.0) == (0.0, None)
    assert stamper.tick(NOW_UNIX_S + 10.0) == NOW_UNIX_S + 10.0
    assert stamped(stamper, 8.0, 12.0) == (10.0, None)
    assert stamper.tick(NOW_UNIX_S + 5.0) == NOW_UNIX_S + 10.0


def test_what_waited_in_the_broker_has_no_wrong_clock() -> None:
    stamper = Stamper(TOLERANCE_S, latest_unix_s=NOW_UNIX_S - 3600.0)
    stamper.link_lost(NOW_UNIX_S - 3600.0)
    stamper.link_lost(NOW_UNIX_S - 10.0)  # another attempt to connect has failed
    stamper.link_found(NOW_UNIX_S)
    assert stamped(stamper, -1800.0) == (-1800.0, None)
    assert stamped(stamper, -3700.0) == (0.0, -3700.0)


@given(st.lists(st.tuples(SECONDS, SECONDS.map(abs), st.sampled_from(["reading", "tick", "lost", "found"]))))
def test_times_never_run_backwards(steps: list[tuple[float, float, str]]) -> None:
    """Property: stamps rise whatever the claims, ticks and connections; none lies after its receipt."""
    stamper = Stamper(TOLERANCE_S)
    now_s, latest = 0.0, -inf
    for claim_s, passed_s, what in steps:
        now_s += passed_s
        if what == "tick":
            stamper.tick(NOW_UNIX_S + now_s - 2.0)
        elif what == "lost":
            stamper.link_lost(NOW_UNIX_S + now_s)
        elif what == "found":
            stamper.link_found(NOW_UNIX_S + now_s)
        else:
            stamp_s, _ = stamped(stamper, claim_s, now_s)
            assert latest <= stamp_s <= now_s
            latest = stamp_s
