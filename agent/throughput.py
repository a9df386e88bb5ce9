"""What one test of the rate says of the link, for the watch, the inputs and the report. Pure."""

from agent.records import Throughput

HEADROOM_PERCENT = 10.0  # the percentile of the uplink tests that the stream has to fit under
# Protocol overhead and the encoder's peaks over its mean rate: a fifth on top is common practice.
STREAM_ALLOWANCE = 1.2
WINDOW_SHARE = 0.8  # a test this near its own TCP window has measured the window, not the link


def uplink_capacity_mbps(test: Throughput) -> float | None:
    """What the uplink carries: the test's rate on top of the stream that ran beside it."""
    if not test.up_mbps:
        return None
    return test.up_mbps + (0.0 if test.stream_mbps is None else test.stream_mbps)


def window_limit_mbps(test: Throughput) -> float | None:
    """Rate that the test's window and RTT allow (Mbit/s): window / RTT a flow (RFC 6349, section 3.3.1)."""
    if test.window_bytes is None or not test.rtt_ms:
        return None
    flows = 1 if test.flows is None else test.flows
    return flows * test.window_bytes * 8.0 / (test.rtt_ms * 1000.0)
