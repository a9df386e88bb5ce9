"""Numbers as the viewer writes them; definitions from outside: exact feet and miles, the Fahrenheit scale."""

import math
import re
from datetime import UTC
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from playwright.sync_api import Browser, expect

from agent.planning.compute import compute_plan
from agent.records import Temperature
from agent.watch.words import PLAIN, reworded
from agent.wording import Said, codes
from dashboard.display_units import METRIC, DisplayUnits
from dashboard.figures.trends import TRENDS, trend_picture
from dashboard.queries import History
from tests.dashboard.conftest import Serve
from tests.dashboard.looking import SIZES, check_looks, visit
from tests.dashboard.scenes import NOW_UNIX_S, SCENES
from tests.dashboard.stores import measure, tell, writing
from tests.plan.sample_job import job

IMPERIAL = DisplayUnits(imperial=True)
COMMA = DisplayUnits(mark=",")


@pytest.mark.parametrize(
    ("metric", "unit", "shown"),
    [
        # Ice point, steam point and the temperature at which both scales agree.
        (0.0, "°C", "32.0 °F"),
        (100.0, "°C", "212.0 °F"),
        (-40.0, "°C", "-40.0 °F"),
        # International foot and mile of 1959: 0.3048 m and 1609.344 m.
        (0.3048, "m", "1.0 ft"),
        (1.609344, "km", "1.0 mi"),
        (12.5, "dB", "12.5 dB"),
        (12.5, "°", "12.5°"),
        (math.nan, "°C", "–"),
        (None, "m", "–"),
    ],
)
def test_imperial_units(metric: float | None, unit: str, shown: str) -> None:
    assert IMPERIAL.number(metric, 1, unit) == shown


def test_metric_is_left_as_it_is() -> None:
    assert (METRIC.number(51.0, 0, "°C"), METRIC.number(21.94, 1, "m")) == ("51 °C", "21.9 m")


def test_decimal_mark_of_the_locale() -> None:
    assert COMMA.number(12.5, 1, "dB") == "12,5 dB"
    said = codes(evidence=(Said("below", {"deficit_db": 1.7}),))
    assert reworded(said, "evidence", (), COMMA.reader(UTC)) == ["1,7 dB below the reference"]


@pytest.mark.parametrize(
    ("said", "metric", "imperial"),
    [
        (
            Said("temperature", {"temperature_degc": 51.0, "limit_degc": 55.0}),
            "51.0 °C, limit 55 °C",
            "123.8 °F, limit 131 °F",
        ),
        # A change of one kelvin is a change of 1.8 degrees Fahrenheit.
        (Said("slope", {"slope_degc_per_min": 0.5}), "slope +0.50 °C a minute", "slope +0.90 °F a minute"),
    ],
)
def test_temperatures_inside_sentences(said: Said, metric: str, imperial: str) -> None:
    kept = codes(action=(said,))
    assert reworded(kept, "action", "", METRIC.reader(UTC)) == [metric]
    assert reworded(kept, "action", "", IMPERIAL.reader(UTC)) == [imperial]


def test_what_has_no_codes_of_this_version_is_shown_as_it_was_said() -> None:
    """As are events of an earlier version, and what the agent says of its own ears."""
    reader = IMPERIAL.reader(UTC)
    assert reworded({}, "verdict", "51 °C", reader) == ["51 °C"]
    assert reworded({"evidence": (Said("of-old"),)}, "evidence", ("a", "b"), reader) == ["a", "b"]
    assert reworded({"action": (Said(PLAIN, {"text": "Mend it"}),)}, "action", "", reader) == ["Mend it"]


def test_figures_are_in_the_same_unit_as_their_words() -> None:
    heat = next(trend for trend in TRENDS if trend.unit == "°C")
    known = History(unix_s=np.array([NOW_UNIX_S]), figures={"transmitter_degc": np.array([100.0])})
    span = (NOW_UNIX_S - 60.0, NOW_UNIX_S)
    picture = trend_picture(heat, known, span, ZoneInfo("UTC"), IMPERIAL)
    axis_degf = [float(label) for label in re.findall(r'"end"[^>]*>([\d.]+)<', picture)]
    assert axis_degf == pytest.approx([212.0, 212.0], abs=0.5)


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_units_are_switched_on_every_page(
    browser: Browser, serve: Serve, tmp_path_factory: pytest.TempPathFactory, size: str
) -> None:
    path = tmp_path_factory.mktemp("display-units") / "store.sqlite3"
    with writing(path) as writer:
        writer.save_plan(job(), compute_plan(job()), "invented")
    tell(path, SCENES["advise"])
    readings = [
        Temperature(unix_s=NOW_UNIX_S - ago_s, where="transmitter", temperature_degc=50.0 - ago_s / 60.0)
        for ago_s in (120.0, 60.0, 0.0)
    ]
    measure(path, "temperature", readings)
    address = serve(path)
    with visit(browser, address, size) as seen:
        caption = seen.page.locator("#caption-heat")
        expect(caption).to_contain_text("51 °C")
        seen.page.get_by_role("button", name="Imperial units").click()
        # 51 °C is 123.8 °F, 55 °C is 131 °F.
        expect(caption).to_contain_text("124 °F")
        expect(seen.page.locator("#verdict .evidence")).to_contain_text("123.8 °F, limit 131 °F")
        seen.page.get_by_role("link", name="Plan").click()
        expect(seen.page.locator("#plan")).to_contain_text("131 °F")
        seen.page.get_by_role("link", name="Day").click()
        expect(seen.page.locator("#day-figure")).to_contain_text("Temperature (°F)")
        seen.page.reload()
        expect(seen.page.locator("#day-figure")).to_contain_text("Temperature (°F)")
        check_looks(seen, address, 24.0)


@pytest.mark.browser
def test_numbers_follow_the_locale(
    browser: Browser, serve: Serve, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """German writes a decimal comma (CLDR)."""
    path = tmp_path_factory.mktemp("locale") / "store.sqlite3"
    tell(path, SCENES["act"])
    address = serve(path)
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.goto(address)
    expect(page.locator("#caption-signal")).to_contain_text("10,4 dB")
    context.close()
