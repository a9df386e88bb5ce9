"""Decides what the tests say of the rate against what the link should carry, and which hop is to blame."""

from dataclasses import dataclass
from math import exp, isnan, nan

from agent.throughput import STREAM_ALLOWANCE, WINDOW_SHARE
from agent.watch.rate_tests import DEAD_LOSS_PERCENT, Tests

RTT_UP_RATIO = 1.3  # the satellite's own share does not change: a third more is a queue (judgement)
LOSS_UP_PERCENT = 1.0  # from here on video suffers (ITU-T G.1010, table I.1, from memory)
HEAVY_LOSS_PERCENT = 4.0  # TCP keeps a network's queue from losing so much for long (judgement)
STORM_LOSS_PERCENT = 12.0  # no operator's network loses so much; a sick cable or radio hop does
JITTER_UP_RATIO = 3.0  # it varies by half from test to test (judgement)
LOCAL_RTT_UP_MS = 30.0  # a sound cable or radio hop answers within a few milliseconds (common practice)
FULL_RATIO = 1.25  # the stream needs a fifth more than itself, so that with this it fills what is left
OWN_QUEUE_RATIO = 2.4  # a modem's buffer holds half a second to a second: about one more round trip
LIKELY = 0.6  # confidence from which a cause is named
# Confidence in the LAN, or in LAN and network, by what the tests show (judgement): the hop to the gateway is
# sick, or sound; nothing gets through; heavy loss without a queue; a queue; log-odds of symptoms.
SICK_HOP, SOUND_HOP = (0.9, 0.05), 0.2
NOTHING_THROUGH = (0.4, 0.4)
LOST_WITHOUT_QUEUE = (0.65, 0.3)
QUEUE_LAN, QUEUE_MORE, SUREST = 0.1, 0.5, 0.95
NO_SYMPTOM, SYMPTOM = 1.0, 1.6
LOW_RATIO = 0.75  # as `look-at-lan.ratio`: a quarter of the rate is missing
RECOVERED_RATIO = 0.85  # half of that is back


@dataclass(frozen=True, slots=True)
class RateFacts:
    """Rates of the recent tests against what is expected; NaN where not known."""

    down_mbps: float
    up_mbps: float
    ratio: float
    rtt_ms: float
    loss_percent: float
    carried_mbps: float  # by the weakest of the recent uplink tests
    stream_mbps: float
    headroom_mbps: float
    lan_confidence: float
    network_confidence: float
    rtt_ratio: float  # to what is normal on this day
    dead: bool  # the last test got nothing through
    tested_unix_s: float  # when the last test came; NaN before the first


def rate_facts(tests: Tests, booked_down_mbps: float, booked_up_mbps: float, stream_mbps: float) -> RateFacts:
    """What the recent tests say. The booked rates are those that the signal carries now (Mbit/s).

    A test limited by its own TCP window says nothing of the link: its ratio counts as 1.
    """
    down, up = tests.down_mbps.recent(), tests.up_mbps.recent()
    ratios = (
        _ratio(down, booked_down_mbps, tests.down_mbps.base),
        _ratio(up, booked_up_mbps, tests.up_mbps.base),
        tests.stream_share.recent(),
    )
    known = [ratio for ratio in ratios if not isnan(ratio)]
    window = tests.window_mbps.recent()
    limited = not isnan(window) and not isnan(down) and down >= WINDOW_SHARE * window
    ratio = (1.0 if limited else min(known)) if known else nan
    lan, network = _blame(tests, ratio, stream_mbps)
    carried = tests.up_mbps.low()
    return RateFacts(
        down_mbps=down,
        up_mbps=up,
        ratio=ratio,
        rtt_ms=tests.rtt_ms.recent(),
        loss_percent=tests.loss_percent.recent(),
        carried_mbps=carried,
        stream_mbps=stream_mbps,
        headroom_mbps=carried - STREAM_ALLOWANCE * stream_mbps,
        lan_confidence=lan,
        network_confidence=network,
        rtt_ratio=tests.rtt_ms.recent() / tests.rtt_ms.base if tests.rtt_ms.base > 0.0 else nan,
        dead=tests.dead,
        tested_unix_s=tests.tested.last_unix_s,
    )


def _ratio(measured_mbps: float, booked_mbps: float, base_mbps: float) -> float:
    """Share of the rate to expect: the booked one, or what good tests of this day gave if that is less."""
    expected = booked_mbps if isnan(base_mbps) else min(booked_mbps, base_mbps)
    return measured_mbps / expected if expected > 0.0 else nan


def _blame(tests: Tests, ratio: float, stream_mbps: float) -> tuple[float, float]:
    """Confidence that the LAN, and that the network beyond the satellite, is to blame for a low rate.

    What came first counts: a stream that no longer fits queues and raises the RTT whoever took the room.
    """
    full = tests.up_mbps.recent() <= FULL_RATIO * stream_mbps
    lan, network = _hops(tests, full)
    if not ratio <= LOW_RATIO:
        if ratio >= RECOVERED_RATIO:
            tests.blamed = ""
        return lan, network
    if not tests.blamed and max(lan, network) >= LIKELY:
        tests.blamed = "lan" if lan > network else "network"
    if tests.blamed == "lan":
        return max(lan, network), min(lan, network)
    return lan, network


def _hops(tests: Tests, full: bool) -> tuple[float, float]:
    """A congested network queues: the RTT grows. A bad cable or radio hop loses and jitters without that.

    Where the stream fills what is left (`full`), its own queue raises the RTT: heavy loss then tells the LAN.
    Where the gateway is probed too, that decides whether it is the LAN.
    """
    local = _local_trouble(tests)
    if local == 1.0:
        return SICK_HOP
    rtt = tests.rtt_ms.recent()
    loss_more = tests.loss_percent.recent() - tests.loss_percent.base
    loss_up = loss_more >= LOSS_UP_PERCENT
    jitter_up = _up(tests.jitter_ms.recent(), tests.jitter_ms.base, JITTER_UP_RATIO) >= 1.0
    if isnan(rtt) and isnan(tests.loss_percent.recent()) and isnan(tests.jitter_ms.recent()):
        return nan, nan
    rtt_up = _up(rtt, tests.rtt_ms.base, RTT_UP_RATIO)
    if tests.loss_percent.recent() >= DEAD_LOSS_PERCENT:
        return NOTHING_THROUGH
    own_queue = rtt <= OWN_QUEUE_RATIO * tests.rtt_ms.base
    if own_queue and loss_more >= (HEAVY_LOSS_PERCENT if full else STORM_LOSS_PERCENT):
        return LOST_WITHOUT_QUEUE
    if rtt_up >= 1.0:
        return QUEUE_LAN, min(SUREST, LIKELY + QUEUE_MORE * (rtt_up - 1.0))
    symptoms = int(loss_up) + int(jitter_up) + int(loss_more >= HEAVY_LOSS_PERCENT)
    lan = SOUND_HOP if local == 0.0 else 1.0 / (1.0 + exp(NO_SYMPTOM - SYMPTOM * symptoms))
    return lan, 0.5 * (1.0 - lan)


def _local_trouble(tests: Tests) -> float:
    """1 where the hop to the terminal's gateway loses or delays, 0 where it is sound, NaN if not probed."""
    rtt, loss = tests.local_rtt_ms, tests.local_loss_percent
    if isnan(rtt.recent()) and isnan(loss.recent()):
        return nan
    slow = rtt.recent() - rtt.base >= LOCAL_RTT_UP_MS
    return float(slow or loss.recent() - loss.base >= LOSS_UP_PERCENT)


def _up(value: float, base: float, ratio: float) -> float:
    """How far `value` is on its way to `ratio` times `base`: 1 there, 0 at the base or when not known."""
    if isnan(value) or isnan(base) or base <= 0.0:
        return 0.0
    return max(0.0, (value / base - 1.0) / (ratio - 1.0))
