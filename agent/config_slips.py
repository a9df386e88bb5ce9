"""The likely slip behind a wrong setting: a unit, a sign, a swapped pair."""

import re
from collections.abc import Callable, Mapping

STANDARD_NOISE_K = 290.0  # IEEE Std 145: reference temperature of a noise figure.
UNIT_ENDINGS = re.compile(
    r"_(deg|m|km|cm|ghz|mhz|hz|dbw|dbm|dbi|db|w|kw|mw|k|degc|msps|ksps|mbps|kbps|percent)$"
)

Values = Mapping[str, object]
Slip = Callable[[float, Values], str | None]


def _number(values: Values, key: str) -> float | None:
    value = values.get(key)
    return float(value) if isinstance(value, int | float) and not isinstance(value, bool) else None


def _latitude(value: float, values: Values) -> str | None:
    longitude = _number(values, "longitude_deg")
    if longitude is not None and abs(longitude) <= 90.0 and abs(value) <= 180.0:
        return "latitude and longitude look swapped"
    return None


def _longitude(value: float, _: Values) -> str | None:
    if 180.0 < abs(value) <= 360.0:
        turned = (value + 180.0) % 360.0 - 180.0
        return f"longitudes run from -180 to 180, east positive: write {turned:g}"
    return None


def _frequency(value: float, _: Values) -> str | None:
    for factor, unit in ((1e3, "MHz"), (1e6, "kHz"), (1e9, "Hz")):
        if 1.0 <= value / factor <= 60.0:
            return f"looks like {unit}: write {value / factor:g}"
    return None


def _fraction(value: float, _: Values) -> str | None:
    return f"looks like percent: write {value / 100.0:g}" if 1.0 < value <= 100.0 else None


def _availability(value: float, _: Values) -> str | None:
    return f"looks like a fraction: write {value * 100.0:g}" if 0.0 < value <= 1.0 else None


def _power(value: float, _: Values) -> str | None:
    if value <= 0.0:
        return f"looks like dBW: {value:g} dBW is {10.0 ** (value / 10.0):.3g} W"
    return f"looks like milliwatts: write {value / 1000.0:g}"


def _diameter(value: float, _: Values) -> str | None:
    for factor, unit in ((100.0, "centimetres"), (1000.0, "millimetres")):
        if 0.3 <= value / factor <= 5.0:
            return f"looks like {unit}: write {value / factor:g}"
    return None


def _symbol_rate(value: float, _: Values) -> str | None:
    for factor, unit in ((1e3, "ksps"), (1e6, "symbols a second")):
        if 0.1 <= value / factor <= 100.0:
            return f"looks like {unit}: write {value / factor:g}"
    return None


def _noise_temperature(value: float, _: Values) -> str | None:
    if 0.0 < value < 5.0:
        noise_k = STANDARD_NOISE_K * (10.0 ** (value / 10.0) - 1.0)
        return f"looks like a noise figure in dB: {value:g} dB is {noise_k:.0f} K"
    return None


def _loss(value: float, _: Values) -> str | None:
    return f"a loss is written as a positive number: write {-value:g}" if value < 0.0 else None


def _limit(value: float, _: Values) -> str | None:
    if 120.0 < value <= 250.0:
        return f"looks like degrees Fahrenheit: write {(value - 32.0) / 1.8:.0f}"
    if 293.0 <= value <= 393.0:
        return f"looks like kelvin: write {value - 273.15:.0f}"
    return None


def _rate(value: float, _: Values) -> str | None:
    return f"looks like bit/s: write {value / 1e6:g}" if value > 10_000.0 else None


SLIPS: Mapping[str, Slip] = {
    "latitude_deg": _latitude,
    "longitude_deg": _longitude,
    "frequency_ghz": _frequency,
    "efficiency": _fraction,
    "roll_off": _fraction,
    "availability_percent": _availability,
    "power_w": _power,
    "diameter_m": _diameter,
    "symbol_rate_msps": _symbol_rate,
    "noise_temperature_k": _noise_temperature,
    "pointing_loss_db": _loss,
    "feed_loss_db": _loss,
    "output_back_off_db": _loss,
    "implementation_margin_db": _loss,
    "limit_degc": _limit,
    "down_mbps": _rate,
    "up_mbps": _rate,
    "stream_mbps": _rate,
}


def likely_slip(key: str, value: object, values: Values) -> str | None:
    """What probably happened when `value` was written for `key`; `values` is the whole section."""
    if isinstance(value, bool):
        return None
    if isinstance(value, str) and key in SLIPS:
        return "write the number without quotes" if re.fullmatch(r"[-+]?[\d.]+", value.strip()) else None
    if isinstance(value, int | float) and key in SLIPS:
        return SLIPS[key](float(value), values)
    return None


def converted(key: str, nearest: str, value: object) -> str | None:
    """What the value of an unknown key in another unit is in the unit of the nearest known key."""
    if not isinstance(value, int | float) or isinstance(value, bool):
        return None
    conversions: Mapping[tuple[str, str], Callable[[float], float]] = {
        ("_mhz", "_ghz"): lambda number: number / 1e3,
        ("_hz", "_ghz"): lambda number: number / 1e9,
        ("_dbm", "_w"): lambda number: 10.0 ** (number / 10.0) / 1000.0,
        ("_dbw", "_w"): lambda number: 10.0 ** (number / 10.0),
        ("_mw", "_w"): lambda number: number / 1e3,
        ("_kw", "_w"): lambda number: number * 1e3,
        ("_cm", "_m"): lambda number: number / 100.0,
        ("_km", "_m"): lambda number: number * 1e3,
        ("_ksps", "_msps"): lambda number: number / 1e3,
        ("_kbps", "_mbps"): lambda number: number / 1e3,
        ("_percent", ""): lambda number: number / 100.0,
    }
    for (ending, wanted), convert in conversions.items():
        if key.endswith(ending) and nearest.endswith(wanted) and stem(key) == stem(nearest):
            return f"write {nearest} = {convert(float(value)):.4g}"
    return None


def stem(key: str) -> str:
    """A key without its unit."""
    return UNIT_ENDINGS.sub("", key)
