"""Heat index of the crew."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.plan.heat_index import BANDS_DEGC, FULL_SUN_K, heat_band, heat_index_degc
from tests.reference import Case, cases


def degc(degf: float) -> float:
    """Fahrenheit to Celsius."""
    return (degf - 32.0) / 1.8


def index_degf(case: Case) -> float:
    """Our heat index of a published case (degF)."""
    inputs = case["inputs"]
    return float(heat_index_degc(degc(inputs["T_F"]), inputs["RH_pct"])) * 1.8 + 32.0


@pytest.mark.parametrize(
    "case", cases("heat", having="HI_F_regression"), ids=lambda case: str(case["inputs"])
)
def test_reference_regression_and_chart(case: Case) -> None:
    # The values print two decimals. The chart rounds to whole degrees and the regression errs by 1.3 degF;
    # its cell at 80 degF and 100 % leaves out the humid adjustment (87, with it 89.3).
    expected = case["expected"]
    assert index_degf(case) == pytest.approx(expected["HI_F_regression"], abs=0.006)
    if case["inputs"]["RH_pct"] < 100:
        assert index_degf(case) == pytest.approx(expected["HI_F_chart"], abs=1.3)
    assert float(heat_index_degc(case["inputs"]["T_C"], case["inputs"]["RH_pct"])) == pytest.approx(
        expected["HI_C_regression"], abs=0.03
    )


@pytest.mark.parametrize("case", cases("heat", having="simple_F"), ids=lambda case: str(case["inputs"]))
def test_reference_simple_formula_and_adjustments(case: Case) -> None:
    # NWS text: "the simple formula is computed first and the result averaged with the temperature". The
    # printed formula HI = 0.5 (T + 61 + ...) is that average already, so it is not averaged a second time.
    assert index_degf(case) == pytest.approx(case["expected"]["HI_F"], abs=0.006)


def test_reference_categories() -> None:
    # NWS categories in degF; our bands are the same in whole tenths of deg C.
    (case,) = cases("heat", having="extreme_danger_F")
    expected = case["expected"]
    starts_degf = [low_degc * 1.8 + 32.0 for low_degc, _, _ in reversed(BANDS_DEGC)]
    assert starts_degf == pytest.approx(
        [
            expected["caution_F"][0],
            expected["extreme_caution_F"][0],
            expected["danger_F"][0],
            expected["extreme_danger_F"],
        ],
        abs=0.1,
    )
    assert FULL_SUN_K * 1.8 == pytest.approx(15.0, abs=1.0)
    assert heat_band(20.0) is None
    assert (heat_band(40.0) or ("", ""))[0] == "danger"
    assert (heat_band(60.0) or ("", ""))[0] == "extreme danger"


@given(st.floats(28.0, 45.0), st.floats(15.0, 84.0))
def test_property_more_humid_feels_hotter(air_degc: float, humidity_percent: float) -> None:
    drier, wetter = heat_index_degc(air_degc, np.array([humidity_percent, humidity_percent + 1.0]))
    assert wetter >= drier - 0.15  # the regression itself dips by a tenth at its cool, dry edge


def test_arrays_broadcast_nan_and_impossible_humidity() -> None:
    index = np.asarray(heat_index_degc(np.array([[30.0], [np.nan]]), np.array([50.0, 101.0, -1.0])))
    assert index.shape == (2, 3)
    assert np.isfinite(index[0, 0])
    assert np.all(np.isnan(index[:, 1:]))
    assert np.isnan(index[1, 0])
    assert isinstance(heat_index_degc(30.0, 50.0), float)


def test_cool_weather_stays_near_the_air() -> None:
    assert float(heat_index_degc(15.0, 60.0)) == pytest.approx(15.0, abs=1.5)
