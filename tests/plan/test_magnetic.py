"""Magnetic declination."""

from math import isnan

import pytest
from pygeomag import GeoMag

from agent.plan.magnetic import decimal_year, declination, declination_uncertainty_deg, magnetic_heading_deg
from tests.plan.sample_job import unix_s
from tests.reference import Case, cases


def year_unix_s(year: float) -> float:
    """Unix seconds of a decimal year."""
    start, end = unix_s(f"{int(year)}-01-01T00:00:00+00:00"), unix_s(f"{int(year) + 1}-01-01T00:00:00+00:00")
    return start + (year - int(year)) * (end - start)


@pytest.mark.parametrize("case", cases("wmm2025_declination"), ids=lambda case: case["source"][-10:])
def test_reference_wmm2025_test_values(case: Case) -> None:
    # The tables print two decimals of the declination: half of the last digit, and a hair for the rounding.
    inputs, expected = case["inputs"], case["expected"]
    found = declination(
        inputs["lat_deg"],
        inputs["lon_deg"],
        inputs["height_km_above_WGS84"] * 1000.0,
        year_unix_s(inputs["decimal_year"]),
    )
    assert (found.value_deg - expected["declination_deg"] + 180.0) % 360.0 - 180.0 == pytest.approx(
        0.0, abs=0.0051
    )
    horizontal_nt = expected.get("H_nT") or (expected["X_nT"] ** 2 + expected["Y_nT"] ** 2) ** 0.5
    assert any("pole" in finding for finding in found.findings) == (horizontal_nt < 6000.0)
    assert any("blackout" in finding for finding in found.findings) == (horizontal_nt < 2000.0)


@pytest.mark.parametrize("case", cases("geo_look_angles", having="azimuth_magnetic_deg"))
def test_reference_magnetic_heading(case: Case) -> None:
    inputs, expected = case["inputs"], case["expected"]
    found = declination(inputs["lat_deg"], inputs["lon_deg"], inputs["height_m"], year_unix_s(2026.5))
    heading_deg = magnetic_heading_deg(expected["azimuth_true_deg"], found.value_deg)
    assert heading_deg == pytest.approx(expected["azimuth_magnetic_deg"], abs=0.02)


@pytest.mark.parametrize("place", [(37.25, -6.95), (64.0, 20.0), (-33.9, 151.2), (88.0, 140.0)])
def test_uncertainty_agrees_with_the_library(place: tuple[float, float]) -> None:
    # pygeomag 1.1 carries the error model of the WMM2025 technical report.
    result = GeoMag(base_year=2026).calculate(*place, 0.0, 2026.5)
    found = declination(*place, 0.0, year_unix_s(2026.5))
    assert found.uncertainty_deg == pytest.approx(result.calculate_uncertainty().d, abs=1e-9)


def test_uncertainty_is_never_worse_than_no_compass() -> None:
    assert declination_uncertainty_deg(0.0) == declination_uncertainty_deg(1.0) == 180.0


@pytest.mark.parametrize("moment", ["2024-06-01T00:00:00+00:00", "2031-02-01T00:00:00+00:00"])
def test_outside_the_models_years_says_so(moment: str) -> None:
    found = declination(40.0, -3.0, 600.0, unix_s(moment))
    assert found.uncertainty_deg is None
    assert any("covers 2025 to 2030" in finding for finding in found.findings)
    assert abs(found.value_deg) < 5.0


def test_decimal_year_knows_leap_years() -> None:
    # NOAA's convention: 2 July 00:00 is the middle of a common year of 365 days to within half a day.
    assert decimal_year(unix_s("2026-07-02T12:00:00+00:00")) == pytest.approx(2026.5, abs=1e-9)
    assert decimal_year(unix_s("2028-07-02T00:00:00+00:00")) == pytest.approx(2028.5, abs=1e-9)
    assert decimal_year(unix_s("2026-12-31T23:59:59+00:00")) < 2027.0


def test_date_line_poles_and_nan() -> None:
    west, east = (
        declination(10.0, -180.0, 0.0, year_unix_s(2026.5)),
        declination(10.0, 180.0, 0.0, year_unix_s(2026.5)),
    )
    assert west.value_deg == pytest.approx(east.value_deg, abs=1e-9)
    assert declination(90.0, 0.0, 0.0, year_unix_s(2026.5)).findings != ()
    for place in ((float("nan"), 0.0, 0.0), (0.0, float("nan"), 0.0), (0.0, 0.0, float("nan"))):
        assert isnan(declination(*place, year_unix_s(2026.5)).value_deg)


def test_heading_wraps() -> None:
    assert magnetic_heading_deg(5.0, 12.0) == pytest.approx(353.0)
    assert magnetic_heading_deg(355.0, -12.0) == pytest.approx(7.0)
