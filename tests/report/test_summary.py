"""The summary for whoever pays, and the data used: rates times seconds, counted by hand beside each case."""

from dataclasses import replace

import pytest

from agent.plan.span import Span
from agent.records import Throughput
from agent.report.data_used import data_used
from agent.report.page import page_html
from agent.report.summary import LONGEST, summary
from tests.plan.sample_job import job
from tests.report.days import CAUTION, bundled_review, bundled_session, reviewed

SERVICE = replace(job().service, allowance_gb=0.001)


def looks(*minutes: float) -> list[Throughput]:
    """A meter that sees 6 Mbit/s down and 2 up: a million bytes a second."""
    return [
        Throughput(unix_s=60.0 * minute, method="passive", down_mbps=6.0, up_mbps=2.0) for minute in minutes
    ]


def test_data_are_rates_times_seconds_and_a_gap_is_not_filled() -> None:
    test = Throughput(unix_s=30.0, method="active", up_mbps=4.0, bytes_used=1_000_000)
    used = data_used([test, *looks(0.0, 1.0, 2.0, 12.0)], SERVICE, Span(0.0, 1200.0))
    assert used.counted_bytes == pytest.approx(120e6)
    assert used.known_percent == pytest.approx(10.0)
    assert used.share_percent == pytest.approx(12_000.0)


def test_without_counters_the_data_are_not_measured() -> None:
    used = data_used(looks(1.0), SERVICE, Span(0.0, 1200.0))
    assert str(used.counted_bytes) == "nan"


def test_one_day_in_ten_lines() -> None:
    lines = summary([bundled_review("salt-pan-summer")])
    assert len(lines) == LONGEST
    said = "\n".join(lines)
    for words in ("18 July 2026, 10:00 to 15:00 at the site", "its limit is 55 °C", "Invented data"):
        assert words in said
    assert "Data used: " in said
    assert "booked" not in lines[7]


def test_the_allowance_stands_beside_the_data_used() -> None:
    session = bundled_session("salt-pan-summer")
    service = replace(session.job.service, allowance_gb=20.0)
    booked = replace(session, job=replace(session.job, service=service))
    assert " of the 20.00 GB booked (" in summary([reviewed("day", booked)])[7]


def test_many_days_are_ten_lines_too_and_safety_is_printed_once() -> None:
    day = bundled_review("salt-pan-summer")
    lines = summary([day] * 12)
    assert len(lines) == LONGEST
    assert lines[0].startswith("12 days of van-1, 18 July 2026")
    page = page_html([day, bundled_review("quiet-dune")], "digest", "0")
    assert page.count(CAUTION) == 1
    assert page.count("Before anybody acts on this report") == 1
