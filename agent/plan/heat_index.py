"""Heat index: how hot it feels to the crew in the shade.

Source: National Weather Service, Weather Prediction Center, "The Heat Index Equation": Rothfusz's regression
(Technical Attachment SR 90-23, 1990) of Steadman's apparent temperature, with both humidity adjustments; it
errs by 1.3 degF. Shade and light wind are meant.
"""

from typing import TypeAlias

import numpy as np
import numpy.typing as npt

Numeric: TypeAlias = float | npt.NDArray[np.float64]

REGRESSION_FROM_DEGF = 80.0  # below it the simple formula is used
# NWS heat index categories (80, 90, 103 and 125 degF).
BANDS_DEGC = (
    (51.7, "extreme danger", "heat stroke is likely: stop outdoor work"),
    (39.4, "danger", "heat cramps or exhaustion are likely: shift the work, shade, water, watch each other"),
    (32.2, "extreme caution", "heat cramps and exhaustion are possible: shade, water, breaks"),
    (26.7, "caution", "fatigue is possible with long work: water and shade at hand"),
)
FULL_SUN_K = 8.0  # NWS: full sunshine adds up to 15 degF


def heat_index_degc(air_degc: Numeric, humidity_percent: Numeric) -> Numeric:
    """Heat index (deg C) for air temperature (deg C) and relative humidity (%), which broadcast.

    Below about 27 deg C it is close to the air temperature; it is meant for warm weather. A humidity outside
    0 to 100 gives NaN; NaN in, NaN out.
    """
    t = np.asarray(air_degc, dtype=float) * 1.8 + 32.0
    rh = np.asarray(humidity_percent, dtype=float)
    rh = np.where((rh >= 0.0) & (rh <= 100.0), rh, np.nan)
    simple = 0.5 * (t + 61.0 + (t - 68.0) * 1.2 + rh * 0.094)
    full = _regression_degf(t, rh) - _dry_adjustment_degf(t, rh) + _humid_adjustment_degf(t, rh)
    index_degc = (np.where(simple < REGRESSION_FROM_DEGF, simple, full) - 32.0) / 1.8
    return float(index_degc) if index_degc.ndim == 0 else index_degc


def heat_band(index_degc: float) -> tuple[str, str] | None:
    """Name and meaning of the NWS category of a heat index (deg C); None below the lowest."""
    return next(((name, meaning) for low_degc, name, meaning in BANDS_DEGC if index_degc >= low_degc), None)


def _regression_degf(t: Numeric, rh: Numeric) -> Numeric:
    return (
        -42.379
        + 2.04901523 * t
        + 10.14333127 * rh
        - 0.22475541 * t * rh
        - 6.83783e-3 * t**2
        - 5.481717e-2 * rh**2
        + 1.22874e-3 * t**2 * rh
        + 8.5282e-4 * t * rh**2
        - 1.99e-6 * t**2 * rh**2
    )


def _dry_adjustment_degf(t: Numeric, rh: Numeric) -> Numeric:
    applies = (rh < 13.0) & (t >= 80.0) & (t <= 112.0)
    root = np.sqrt(np.maximum(0.0, (17.0 - np.abs(t - 95.0)) / 17.0))
    return np.where(applies, (13.0 - rh) / 4.0 * root, 0.0)


def _humid_adjustment_degf(t: Numeric, rh: Numeric) -> Numeric:
    applies = (rh > 85.0) & (t >= 80.0) & (t <= 87.0)
    return np.where(applies, (rh - 85.0) / 10.0 * (87.0 - t) / 5.0, 0.0)
