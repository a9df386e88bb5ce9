"""Clear-sky sunshine and the sun's path."""

import warnings

import numpy as np
import pandas as pd
import pytest
from pvlib import clearsky
from pvlib.location import Location

from agent.link_plan import Sunshine
from agent.plan.sun import sun_angles_deg
from agent.plan.sunshine import clear_sky, linke_turbidity, sun_path
from tests.plan.sample_job import site, unix_s
from tests.reference import Case, cases

PLACES = [(37.25, -6.95, 12.0), (-33.9, 151.2, 100.0), (60.0, 25.0, 0.0), (0.0, 100.0, 2000.0)]


@pytest.mark.parametrize(
    "case", cases("heat", having="TL"), ids=lambda case: str(case["inputs"]["zenith_deg"])
)
def test_reference_model_is_the_one_that_was_published(case: Case) -> None:
    # pvlib's own published checks of the model that `clear_sky` rests on.
    inputs, expected = case["inputs"], case["expected"]
    airmass = inputs.get("airmass", inputs.get("absolute_airmass"))
    sky = clearsky.ineichen(inputs["zenith_deg"], airmass, inputs["TL"])
    for key in ("ghi", "dni", "dhi"):
        assert float(sky[key]) == pytest.approx(case["expected"][key.upper()], abs=0.01)
    assert set(expected) == {"GHI", "DNI", "DHI"}


@pytest.mark.parametrize("case", cases("heat", having="GHI_W_m2"), ids=lambda case: str(case["inputs"]))
def test_reference_haurwitz_is_near(case: Case) -> None:
    # Haurwitz 1945 needs the elevation only; another model of a clear sky. At a sea-level place with a clean
    # sky the two agree within 12 % of full sun above 5 deg (Reno, Hansen and Stein, SAND2012-2389, figures).
    day = clear_sky(
        site(0.0, -150.0), unix_s("2026-03-20T14:00:00+00:00"), unix_s("2026-03-21T06:00:00+00:00"), 60.0
    )
    elevation_deg = np.array(
        sun_path(
            site(0.0, -150.0), unix_s("2026-03-20T14:00:00+00:00"), unix_s("2026-03-21T06:00:00+00:00"), 60.0
        ).elevation_deg
    )
    at = int(np.argmin(np.abs(elevation_deg - case["inputs"]["apparent_elevation_deg"])))
    assert day.global_horizontal_w_m2[at] == pytest.approx(case["expected"]["GHI_W_m2"], abs=0.12 * 1000.0)


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("month", [1, 4, 7, 10])
def test_agrees_with_pvlibs_own_chain(place: tuple[float, float, float], month: int) -> None:
    # pvlib 0.16, Location.get_clearsky: the same model by another route (its own dates, its own turbidity
    # days). Within 2 deg of the horizon the optical path is so long that the day's rounding shows.
    start = unix_s(f"2026-{month:02d}-28T00:00:00+00:00")
    ours = clear_sky(site(*place), start, start + 86_400.0)
    times = pd.to_datetime(start + 300.0 * np.arange(289), unit="s", utc=True)
    with warnings.catch_warnings():
        # pvlib 0.16 still reads a pandas attribute under its old name.
        warnings.filterwarnings("ignore", message="DatetimeIndex.dayofyear is deprecated")
        theirs = Location(place[0], place[1], altitude=place[2]).get_clearsky(times)
    high = sun_angles_deg(site(*place), start + 300.0 * np.arange(289))[1] > 2.0
    assert np.array(ours.global_horizontal_w_m2)[high] == pytest.approx(
        theirs["ghi"].to_numpy()[high], abs=2.0
    )
    assert np.array(ours.direct_normal_w_m2)[high] == pytest.approx(theirs["dni"].to_numpy()[high], abs=8.0)


def day_of(latitude_deg: float, longitude_deg: float, date: str) -> Sunshine:
    """A UTC day at sea level."""
    start = unix_s(f"{date}T00:00:00+00:00")
    return clear_sky(site(latitude_deg, longitude_deg), start, start + 86_400.0)


def test_night_and_polar_night_are_dark() -> None:
    assert max(day_of(-85.0, 0.0, "2026-07-01").global_horizontal_w_m2) == 0.0
    midnight_sun = day_of(80.0, 0.0, "2026-06-21")
    assert min(midnight_sun.global_horizontal_w_m2) > 0.0
    assert day_of(37.25, -6.95, "2026-07-18").direct_normal_w_m2[0] == 0.0


def test_direct_beam_is_weaker_than_outside_the_air() -> None:
    # Solar constant 1361 W/m2 (WMO), at most 3.4 % more in January.
    for latitude_deg in (-60.0, -20.0, 0.0, 20.0, 60.0):
        assert max(day_of(latitude_deg, 0.0, "2026-01-03").direct_normal_w_m2) < 1361.0 * 1.034


def test_date_line_is_no_border() -> None:
    # The sun is the same; the turbidity map's first and last column, 8 km apart, differ a little.
    west, east = (day_of(0.0, longitude_deg, "2026-03-20") for longitude_deg in (-180.0, 180.0))
    assert west.global_horizontal_w_m2 == pytest.approx(east.global_horizontal_w_m2, abs=15.0)


def test_turbidity_follows_the_year_without_a_jump_at_new_year() -> None:
    place = site(37.25, -6.95)
    days = np.array([1.0, 91.0, 182.0, 365.2])
    turbidity = linke_turbidity(place, days)
    assert np.all((turbidity > 1.5) & (turbidity < 8.0))
    assert turbidity[0] == pytest.approx(turbidity[3], abs=0.02)


def test_values_cover_the_span() -> None:
    start = unix_s("2026-07-18T07:00:00+00:00")
    covered = clear_sky(site(37.25, -6.95), start, start + 1000.0)
    assert covered.start_unix_s == start
    assert len(covered.direct_normal_w_m2) == len(covered.global_horizontal_w_m2) == 5
    path = sun_path(site(37.25, -6.95), start, start + 1000.0)
    assert len(path.azimuth_deg) == len(path.elevation_deg) == 5


@pytest.mark.parametrize(
    ("length_s", "step_s"), [(0.0, 300.0), (-5.0, 300.0), (100.0, 0.0), (float("nan"), 300.0)]
)
def test_span_that_is_none_is_refused(length_s: float, step_s: float) -> None:
    with pytest.raises(ValueError, match="the end must be after the start"):
        clear_sky(site(37.25, -6.95), 1.784e9, 1.784e9 + length_s, step_s)
