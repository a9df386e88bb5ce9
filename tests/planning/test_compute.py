"""The whole plan: complete, repeatable, for any days, and the same through JSON."""

import json
from dataclasses import fields, replace
from math import isnan
from zoneinfo import ZoneInfo

import pytest

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_from_json, plan_to_json
from agent.plan.present import plan_text
from agent.plan.span import Span, days_covering, job_days
from agent.planning.compute import compute_plan
from tests.plan.sample_job import job as sample_job
from tests.plan.sample_job import unix_s


@pytest.fixture(scope="module")
def job() -> Job:
    return sample_job()


@pytest.fixture(scope="module")
def plan(job: Job) -> LinkPlan:
    return compute_plan(job)


def test_json_has_the_contract_layout(plan: LinkPlan) -> None:
    tree = json.loads(json.dumps(plan_to_json(plan), allow_nan=False))
    both = """free_space_loss_db gas_db cloud_db scintillation_db rain_db rain_rate_mm_h antenna_gain_dbi
        system_noise_k gt_dbk cn0_dbhz esno_clear_db esno_faded_db modcod_clear modcod_faded rate_clear_mbps
        rate_faded_mbps margin_db"""
    wanted = {
        "pointing": """azimuth_true_deg azimuth_magnetic_deg elevation_deg polarisation_skew_deg
            slant_range_km one_way_delay_ms""",
        "downlink": both,
        "uplink": f"{both} eirp_dbw satellite_gt_dbk",
        "heat": "sun_hours shade_advised reason sunshine",
        "safety": "keep_out_m heat_index_degc cautions",
    }
    for section, keys in wanted.items():
        assert set(keys.split()) <= tree[section].keys()
    assert tree["uplink"]["satellite_gt_dbk"] == 4.0
    for one in tree["sun_passes_year"]:
        assert set(one) == {"start", "peak", "end", "depth_db"} and one["peak"].endswith("Z")
    for item in tree["items"]:
        assert {"symbol", "value", "unit", "source"} <= item.keys() and item["source"]


def test_json_and_back(plan: LinkPlan) -> None:
    text = json.dumps(plan_to_json(plan))
    again = plan_from_json(json.loads(text))
    # Times are kept to the microsecond, everything else to the bit.
    assert json.dumps(plan_to_json(again)) == text
    assert replace(again, sun_passes=(), sun_passes_year=(), sun_pass_effects=()) == replace(
        plan, sun_passes=(), sun_passes_year=(), sun_pass_effects=()
    )
    for ours, theirs in zip(plan.sun_passes_year, again.sun_passes_year, strict=True):
        assert theirs.peak_unix_s == pytest.approx(ours.peak_unix_s, abs=1e-6)


@pytest.mark.parametrize(
    ("damage", "words"),
    [
        (lambda tree: tree.pop("heat"), "lacks heat"),
        (lambda tree: tree["downlink"].update(eirp_dbw="50"), "eirp_dbw"),
        (lambda tree: tree.update(start=5), "must be a time"),
        (lambda tree: tree.update(pointing=[]), "must be an object"),
        (lambda tree: tree.update(terminal=None), "missing"),
        (lambda tree: tree["verdict"].update(answer="maybe"), "maybe"),
    ],
)
def test_json_that_is_no_plan_is_refused(plan: LinkPlan, damage: object, words: str) -> None:
    tree = plan_to_json(plan)
    damage(tree)  # type: ignore[operator]
    with pytest.raises(ValueError, match=words):
        plan_from_json(tree)


def test_plan_is_repeatable(job: Job, plan: LinkPlan) -> None:
    assert compute_plan(job) == plan


def test_default_span_is_the_days_of_the_job(job: Job, plan: LinkPlan) -> None:
    # Madrid is two hours ahead of UTC in July.
    assert plan.start_unix_s == unix_s("2026-07-18T00:00:00+02:00")
    assert plan.end_unix_s == unix_s("2026-07-19T00:00:00+02:00")
    assert plan.heat.hours[0].start_unix_s == job.day.start_unix_s


def test_plan_of_another_day(job: Job, plan: LinkPlan) -> None:
    span = days_covering(job, unix_s("2026-10-03T13:00:00+02:00"))
    other = compute_plan(job, span)
    assert other.downlink == plan.downlink and other.uplink == plan.uplink
    assert other.heat.sunshine.start_unix_s <= span.start_unix_s
    # A mid-northern site has its autumn sun passes in early October, when the sun stands as far south as the
    # satellite is seen.
    assert other.sun_passes and all(span.contains(one.peak_unix_s) for one in other.sun_passes)
    assert not plan.sun_passes


def test_spans_follow_the_site_calendar(job: Job) -> None:
    # Summer time ended in Madrid on 25 October 2026: that day has 25 hours.
    day = days_covering(job, unix_s("2026-10-25T12:00:00+01:00"))
    assert day == Span(unix_s("2026-10-25T00:00:00+02:00"), unix_s("2026-10-26T00:00:00+01:00"))
    assert day.end_unix_s - day.start_unix_s == 25 * 3600
    assert days_covering(job, job.day.start_unix_s) == job_days(job)
    two = sample_job(start="2026-07-18T20:00:00+02:00", end="2026-07-19T02:00:00+02:00")
    assert job_days(two) == Span(unix_s("2026-07-18T00:00:00+02:00"), unix_s("2026-07-20T00:00:00+02:00"))


def test_satellite_below_the_horizon_is_a_clear_finding(job: Job) -> None:
    hidden = replace(job, satellite=replace(job.satellite, longitude_deg=120.0))
    plan = compute_plan(hidden)
    assert plan.verdict.answer == "does not work" and "below the horizon" in plan.verdict.reason
    assert plan.pointing.elevation_deg < 0.0 and isnan(plan.downlink.esno_clear_db)
    assert plan.sun_passes_year == ()
    # Undefined values are null, and come back as undefined.
    again = plan_from_json(json.loads(json.dumps(plan_to_json(plan), allow_nan=False)))
    assert isnan(again.downlink.esno_clear_db)
    # What is wrong, and nothing else.
    text = plan_text(plan, hidden, ZoneInfo("Europe/Madrid"))
    assert "below the horizon" in text and "Findings" in text
    for word in ("Point", "Carries", "Dangerous", "What if", "Downlink", "not defined"):
        assert f"\n{word}" not in text


def test_southern_site(job: Job) -> None:
    south = replace(
        job,
        site=replace(
            job.site, latitude_deg=-33.9, longitude_deg=18.4, height_m=50.0, time_zone="Africa/Johannesburg"
        ),
    )
    plan = compute_plan(south)
    # The satellite at 8 E stands north and a little west of the Cape.
    assert 330.0 < plan.pointing.azimuth_true_deg < 360.0
    assert abs(plan.pointing.feed_rotation_deg) <= 90.0
    assert plan.verdict.answer in ("works", "tight")


def test_expected_weather_gives_a_heat_index(job: Job) -> None:
    hot = replace(job, day=replace(job.day, air_degc=38.0, humidity_percent=50.0))
    plan = compute_plan(hot)
    # NWS chart: 100 F and 50 % feel like 118 F, 47.8 C.
    assert plan.safety.heat_index_degc == pytest.approx(48.0, abs=1.5)
    assert plan.heat.air_degc == 38.0 and not plan.heat.air_assumed


def test_text_gives_the_verdict_first_and_every_line(job: Job, plan: LinkPlan) -> None:
    text = plan_text(plan, job, ZoneInfo("Europe/Madrid"))
    lines = text.splitlines()
    assert "2026-07-18 09:00" in lines[0] and lines[1].startswith(plan.verdict.answer.upper())
    order = [
        text.index(word)
        for word in ("\nPoint\n", "\nCarries\n", "\nWhen it hurts\n", "\nDangerous\n", "\nDownlink\n")
    ]
    assert order == sorted(order)
    for item in plan.items:
        assert any(item.symbol in line and item.source in line for line in lines)
    assert all(row.change in text for row in plan.what_if)


def test_items_show_every_number_of_both_budgets(plan: LinkPlan) -> None:
    for part, budget in (("downlink", plan.downlink), ("uplink", plan.uplink)):
        values = [abs(item.value) for item in plan.items if item.part == part]
        names = """free_space_loss_db gas_db cloud_db scintillation_db rain_db fade_db gt_dbk cn0_dbhz
            esno_clear_db esno_faded_db margin_db rate_clear_mbps"""
        for name in names.split():
            assert any(value == pytest.approx(abs(getattr(budget, name))) for value in values), name
    assert len(fields(plan)) == len(plan_to_json(plan))
