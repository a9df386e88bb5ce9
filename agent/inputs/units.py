"""Units that other devices write, and what a value in them is in the unit of a field. Pure.

The names are those of SenML (RFC 8428, section 12.1, and RFC 8798, section 3) and the usual ones beside them.
"""

from collections.abc import Mapping

KELVIN_OF_0_DEGC = 273.15  # definition of the degree Celsius, SI brochure, 9th edition
KNOT_M_S = 1852.0 / 3600.0  # definition of the nautical mile
MILE_M = 1609.344  # international mile, by definition
INCH_MM = 25.4  # by definition
DBM_OF_0_DBW = 30.0

# Ending of a field's name -> unit -> factor and offset to the field's unit.
UNITS: Mapping[str, Mapping[str, tuple[float, float]]] = {
    "db": {"dB": (1.0, 0.0)},
    "dbm": {"dBm": (1.0, 0.0), "dBW": (1.0, DBM_OF_0_DBW)},
    "degc": {
        "Cel": (1.0, 0.0),
        "degC": (1.0, 0.0),
        "K": (1.0, -KELVIN_OF_0_DEGC),
        "degF": (1.0 / 1.8, -32.0 / 1.8),
    },
    "percent": {"%": (1.0, 0.0), "%RH": (1.0, 0.0), "%EL": (1.0, 0.0), "/": (100.0, 0.0)},
    "mbps": {"Mbit/s": (1.0, 0.0), "kbit/s": (1e-3, 0.0), "bit/s": (1e-6, 0.0), "B/s": (8e-6, 0.0)},
    "ms": {"ms": (1.0, 0.0), "s": (1e3, 0.0), "us": (1e-3, 0.0)},
    "s": {"s": (1.0, 0.0), "ms": (1e-3, 0.0), "min": (60.0, 0.0), "h": (3600.0, 0.0)},
    "m_s": {
        "m/s": (1.0, 0.0),
        "km/h": (1.0 / 3.6, 0.0),
        "kn": (KNOT_M_S, 0.0),
        "mph": (MILE_M / 3600.0, 0.0),
    },
    "mm_h": {"mm/h": (1.0, 0.0), "in/h": (INCH_MM, 0.0)},
    "w_m2": {"W/m2": (1.0, 0.0)},
    "v": {"V": (1.0, 0.0), "mV": (1e-3, 0.0)},
    "bytes": {"B": (1.0, 0.0), "kB": (1e3, 0.0), "MB": (1e6, 0.0), "bit": (0.125, 0.0)},
}
ENDINGS = sorted(UNITS, key=len, reverse=True)
# Fields whose name does not end in their unit.
OTHER_NAMES = {"bytes_used": "bytes"}


def units_of(field_name: str) -> Mapping[str, tuple[float, float]]:
    """Unit -> factor and offset, for all units that a field may come in; empty where it has no unit."""
    ending = OTHER_NAMES.get(field_name) or next(
        (one for one in ENDINGS if field_name.endswith(f"_{one}")), None
    )
    return {} if ending is None else UNITS[ending]
