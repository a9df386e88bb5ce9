"""Delay, loss and jitter of rounds of probes."""

import pytest

from agent.inputs.path.figures import Path
from agent.inputs.rates.rounds import is_window_limited
from agent.records import Throughput
from agent.throughput import WINDOW_SHARE, window_limit_mbps
from tests.reference import cases


@pytest.mark.parametrize("together", [1, 3, 7])
def test_jitter_is_that_of_rfc_3550(together: int) -> None:
    """Reference: RFC 3550 (2003), section 6.4.1 and A.8; rounds of any length give the same."""
    (case,) = cases("throughput", having="transit_ms")
    transits, expected = case["inputs"]["transit_ms"], case["expected"]["J_ms_after_each"]
    path = Path()
    for start in range(0, len(transits), together):
        found = path.add(transits[start : start + together])
        end = min(start + together, len(transits))
        assert found.jitter_ms == pytest.approx(expected[end - 1], abs=1e-6)


def test_a_lost_probe_is_a_share_of_the_loss_and_no_jitter() -> None:
    path = Path()
    found = path.add([600.0, None, 600.0, None])
    assert (found.rtt_ms, found.jitter_ms, found.loss_percent) == (600.0, 0.0, 50.0)


def test_nothing_came_back() -> None:
    path = Path()
    found = path.add([None, None])
    assert (found.rtt_ms, found.jitter_ms, found.loss_percent) == (None, None, 100.0)
    assert not path.answered


@pytest.mark.parametrize("case", cases("throughput", having="BDP_bits"), ids=lambda case: case["source"][:20])
def test_the_window_of_a_full_path_gives_its_rate(case: dict[str, dict[str, float]]) -> None:
    """Reference: RFC 6349 (2011), section 3.3.1, table of link speed, RTT, bandwidth-delay product."""
    rate_mbps, rtt_ms = case["inputs"]["link_Mbps"], case["inputs"]["RTT_ms"]
    window_bytes = round(case["expected"]["BDP_bits"] / 8)
    test = Throughput(unix_s=0.0, method="active", window_bytes=window_bytes, rtt_ms=rtt_ms, flows=1)
    assert window_limit_mbps(test) == pytest.approx(rate_mbps, rel=1e-4)  # whole bytes
    assert is_window_limited(rate_mbps, window_bytes, rtt_ms, 1)
    # With flows enough the same rate is the link's.
    assert not is_window_limited(rate_mbps, window_bytes, rtt_ms, int(2 / WINDOW_SHARE))
