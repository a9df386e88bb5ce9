"""The sun of the day in sentences."""

from datetime import UTC
from functools import cache
from zoneinfo import ZoneInfo

import pytest

from agent.link_plan import LinkPlan
from agent.plan.day_ahead import SiteClock, day_ahead, day_at_length
from agent.plan.present import plan_text
from agent.planning.compute import compute_plan
from tests.plan.sample_job import job, unix_s


@cache
def plan(start: str, end: str) -> LinkPlan:
    """The plan of the sample job at these hours."""
    return compute_plan(job(start, end))


def test_july_day_has_sun_and_no_pass() -> None:
    sentences = day_ahead(
        plan("2026-07-18T09:00:00+02:00", "2026-07-18T19:00:00+02:00"), ZoneInfo("Europe/Madrid")
    )
    # The sun culminates at 14:34 summer time at 6.95 W, 73.7 deg high (almanac declination 21.0 deg).
    assert sentences[0].startswith("Sun on the transmitter: 10.0 h under a clear sky, 5.0 h half-cloudy")
    assert "in the hour from 14:00, 74° up in the south" in sentences[0]
    assert sentences[1] == "Safe unshaded until about 10:00; then shade."
    # North of the equator the passes come about three weeks after the September equinox's eve at the
    # earliest.
    assert "next one is on" in sentences[2]
    assert "October 2026" in sentences[2]


def test_other_time_zone_shifts_the_clock_only() -> None:
    one = plan("2026-07-18T09:00:00+02:00", "2026-07-18T19:00:00+02:00")
    # The plan starts at midnight in Madrid, which is the day before in UTC: hence the date.
    assert day_ahead(one, UTC)[1] == "Safe unshaded until about 08:00 on 18 July; then shade."


def test_october_day_names_the_pass() -> None:
    one = plan("2026-10-08T09:00:00+02:00", "2026-10-08T18:00:00+02:00")
    (sentence,) = (line for line in day_ahead(one, ZoneInfo("Europe/Madrid")) if line.startswith("Sun pass"))
    assert "leave the dish alone" in sentence
    assert f"{one.sun_passes[0].depth_db:.1f} dB" in sentence
    # The satellite stands east of the site, so the sun passes it before it culminates: 12:00 UTC, plus 28 min
    # for 6.95 deg west, less 12 min for the equation of time in early October, is 14:16 summer time.
    assert "11:30" < sentence.split()[2] < "14:16"


def test_second_day_is_dated() -> None:
    one = plan("2026-10-08T20:00:00+02:00", "2026-10-09T16:00:00+02:00")
    text = " ".join(day_ahead(one, ZoneInfo("Europe/Madrid")))
    assert "on 09 October" in text


def test_days_across_a_change_of_the_clocks_print_both_offsets() -> None:
    # Summer time ended in Madrid on 25 October 2026 at 03:00.
    hours = ("2026-10-24T20:00:00+02:00", "2026-10-25T15:00:00+01:00")
    zone = ZoneInfo("Europe/Madrid")
    across = job(*hours)
    heading = plan_text(plan(*hours), across, zone).splitlines()[0]
    assert "2026-10-24 20:00 (+02:00) to 2026-10-25 15:00 (+01:00) (the clocks change between)" in heading
    unshaded = next(line for line in day_at_length(plan(*hours), zone) if "unshaded until" in line)
    assert "(+01:00) on 25 October; then shade" in unshaded
    clock = SiteClock.of(across.day.start_unix_s, across.day.end_unix_s, zone)
    # Half past two came twice.
    assert clock.text(unix_s("2026-10-25T00:30:00Z")) == "02:30 (+02:00) on 25 October"
    assert clock.text(unix_s("2026-10-25T01:30:00Z")) == "02:30 (+01:00) on 25 October"


def test_night_job_says_so() -> None:
    sentences = day_ahead(
        plan("2026-07-18T23:30:00+02:00", "2026-07-19T03:00:00+02:00"), ZoneInfo("Europe/Madrid")
    )
    assert sentences[0] == "No sunshine on the transmitter in these hours."
    assert sentences[1] == "Safe unshaded all day."


@pytest.mark.parametrize("zone", ["Asia/Kathmandu", "Pacific/Chatham"])
def test_odd_zones(zone: str) -> None:
    one = plan("2026-07-18T09:00:00+02:00", "2026-07-18T19:00:00+02:00")
    assert day_ahead(one, ZoneInfo(zone))[1].split()[4][3:] == "45;"
