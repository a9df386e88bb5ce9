"""The plan on paper: two pages, everything that a crew carries, drawings to scale."""

import re
from dataclasses import replace
from functools import cache
from math import cos, log10, radians, sin
from zoneinfo import ZoneInfo

import pytest

from agent.job import Hub, Job
from agent.link_plan import LinkPlan
from agent.plan.day_ahead import SiteClock
from agent.plan.losses import loss_steps
from agent.planning.compute import compute_plan
from agent.sheet.drawings import SCALES_M, horizon_view, plan_view, side_view
from agent.sheet.page import CHECKS, CONTACTS, budget_rows, sheet_html
from tests.plan.sample_job import job as sample_job

SKYLINE = [
    [110.0, 5.0],
    [130.0, 18.0],
    [150.0, 30.0],
    [170.0, 12.0],
    [230.0, 35.0],
    [250.0, 38.0],
    [260.0, 5.0],
]


@cache
def planned() -> tuple[Job, LinkPlan]:
    """A job with everything that the sheet can show, in sun-pass season."""
    base = sample_job("2026-10-08T09:00:00+02:00", "2026-10-08T18:00:00+02:00")
    job = replace(
        base,
        site=replace(base.site, obstructions=SKYLINE),
        hub=Hub(satellite_eirp_dbw=20.0, downlink_frequency_ghz=11.7, gt_dbk=34.0),
        receiver=replace(base.receiver, gain_db=55.0, cable_loss_db=8.0),
        downlink=replace(base.downlink, eirp_dbw=42.0, intermodulation_cn_db=18.0),
    )
    return job, compute_plan(job)


def test_the_first_page_has_what_the_crew_carries() -> None:
    job, plan = planned()
    page = sheet_html(plan, job, "rules.toml")
    first, second = page.split('<section class="second">')
    for words in (
        f"{plan.pointing.azimuth_true_deg:.1f}°",
        f"{plan.pointing.elevation_deg:.1f}°",
        "counter-clockwise",
        "Es/N0 down",
        "Level at the modem",
        "Sun pass",
        "shade",
        "The skyline shades the transmitter from",
        f"Nobody in the beam up to {plan.safety.keep_out_m:.0f} m",
        "Rules in force: rules.toml",
        "Reference and when",
        *CONTACTS,
    ):
        assert words in first, words
    # A box to tick for each check.
    assert first.count('class="box"') >= len(CHECKS)
    for item in plan.items:
        if item.part != "pointing":
            assert f"<td>{item.symbol}</td>" in second
    # Readable at arm's length (8 pt: common practice); black on white, and nothing is loaded from elsewhere.
    assert min(map(float, re.findall(r"font-size: ([0-9.]+)pt", page))) >= 8.0
    assert not re.search(r"(src|href)=|url\(", page)


def test_pdf_has_two_pages() -> None:
    weasyprint = pytest.importorskip("weasyprint")
    job, plan = planned()
    long = (
        "A finding that takes two lines of the narrow column, as most of them do, and a bit of a third one."
    )
    for findings in (plan.findings, (long,) * 12):
        page = sheet_html(replace(plan, findings=findings), job, "the defaults")
        assert len(weasyprint.HTML(string=page).render().pages) == 2
    # Handed over with all that fits: state, alerts, reference, heat and notes of a line and a half each.
    taken_over = [("State", long), *[("Note 14:05", long[:70])] * 9]
    page = sheet_html(plan, job, "the defaults", taken_over)
    assert "Look at before leaving" not in page
    assert len(weasyprint.HTML(string=page).render().pages) == 2


def test_a_hidden_satellite_leaves_only_what_is_wrong() -> None:
    base = sample_job()
    job = replace(base, satellite=replace(base.satellite, longitude_deg=120.0))
    page = sheet_html(compute_plan(job), job, "the defaults")
    assert "below the horizon" in page and "Check in this order" not in page


def drawn_beam(picture: str) -> list[tuple[float, float]]:
    """The corners of the beam."""
    found = re.search(r'd="M([^"]+) Z"', picture)
    assert found is not None
    return [(float(x), float(y)) for x, y in (point.strip().split(",") for point in found[1].split("L"))]


def scale_of(picture: str) -> float:
    """Drawing units a metre, by the scale bar."""
    length_m = next(int(one) for one in re.findall(r">(\d+) m<", picture) if float(one) in SCALES_M)
    x1, x2 = re.search(r'<line x1="([\d.]+)" y1="8.0" x2="([\d.]+)" y2="8.0"', picture).groups()  # type: ignore[union-attr]
    return (float(x2) - float(x1)) / length_m


@pytest.mark.parametrize("elevation_deg", [15.0, 44.0, 80.0])
def test_keep_out_is_drawn_to_scale(elevation_deg: float) -> None:
    _, plan = planned()
    diameter_m = 0.98
    side = side_view(plan.safety, elevation_deg, diameter_m)
    lower_near, lower_far = drawn_beam(side)[3], drawn_beam(side)[2]
    along = (lower_far[0] - lower_near[0]) / scale_of(side)
    assert along == pytest.approx(plan.safety.keep_out_m * cos(radians(elevation_deg)), rel=0.03, abs=0.3)
    above = plan_view(plan.safety, 156.0, elevation_deg, diameter_m)
    near, far = drawn_beam(above)[0], drawn_beam(above)[1]
    length = ((far[0] - near[0]) ** 2 + (far[1] - near[1]) ** 2) ** 0.5 / scale_of(above)
    assert length == pytest.approx(plan.safety.keep_out_m * cos(radians(elevation_deg)), rel=0.03, abs=0.3)
    # Toward 156 deg: right and down on a drawing with north up.
    assert far[0] - near[0] == pytest.approx(length * scale_of(above) * sin(radians(156.0)), abs=0.3)


def test_two_days_have_one_path_of_the_sun() -> None:
    """The second would lie upon the first; here it is the same once more."""
    job, plan = planned()
    path = plan.heat.sun_path
    twice = replace(path, azimuth_deg=path.azimuth_deg * 2, elevation_deg=path.elevation_deg * 2)
    clock = SiteClock.of(job.day.start_unix_s, job.day.end_unix_s, ZoneInfo(job.site.time_zone))
    long = replace(plan, heat=replace(plan.heat, sun_path=twice))
    assert horizon_view(long, clock) == horizon_view(plan, clock)


def test_losses_add_up_to_the_budget() -> None:
    job, plan = planned()
    for budget, carrier in ((plan.downlink, job.downlink), (plan.uplink, job.uplink)):
        steps = dict(loss_steps(budget, carrier.symbol_rate_msps))
        values = list(steps.values())
        assert values == sorted(values, reverse=True)
        assert values[-1] == budget.esno_faded_db
        assert steps["interference, other hop"] == budget.esno_clear_db
        # Everything taken off again: EIRP - free-space loss + G/T - k in the symbol rate.
        perfect = budget.eirp_dbw - budget.free_space_loss_db + budget.gt_dbk + 228.5991672
        assert values[0] == pytest.approx(perfect - 10.0 * log10(carrier.symbol_rate_msps * 1e6))


def test_rows_of_the_budget_share_a_line() -> None:
    _, plan = planned()
    rows = {row[1]: row for row in budget_rows(plan.items)}
    assert rows["L_FS"][2] == f"{-plan.downlink.free_space_loss_db:.2f}"
    assert rows["L_FS"][3] == f"{-plan.uplink.free_space_loss_db:.2f}"
    # Rounded down already: never 100.
    assert rows["p_close"][2] == "99.999"
