"""Units against their definitions."""

import pytest

from agent.inputs.mapping import FieldMap, MappingError, ReadingMap, fields_of
from agent.inputs.units import UNITS, units_of
from agent.records import KINDS


@pytest.mark.parametrize(
    ("kind", "name", "unit", "value", "expected"),
    [
        ("weather", "air_degc", "degF", 212.0, 100.0),  # boiling point, both scales
        ("weather", "air_degc", "K", 273.16, 0.01),  # triple point of water
        ("weather", "wind_m_s", "kn", 1.0, 0.514444),  # SI brochure, 9th edition, table of the knot
        ("weather", "wind_m_s", "km/h", 36.0, 10.0),
        ("weather", "wind_m_s", "mph", 1.0, 0.44704),  # by definition of the mile
        ("weather", "humidity_percent", "/", 0.5, 50.0),  # RFC 8428, section 12.1: "/" is a ratio
        ("weather", "rain_mm_h", "in/h", 1.0, 25.4),
        ("signal", "rx_level_dbm", "dBW", -70.0, -40.0),
        ("throughput", "down_mbps", "bit/s", 2.5e6, 2.5),
        ("throughput", "down_mbps", "B/s", 125_000.0, 1.0),
        ("throughput", "rtt_ms", "s", 0.6, 600.0),
        ("power", "runtime_s", "min", 90.0, 5400.0),
        ("power", "voltage_v", "mV", 12_600.0, 12.6),
    ],
)
def test_conversions(kind: str, name: str, unit: str, value: float, expected: float) -> None:
    needed = {
        "power": {"source": FieldMap(constant="mains")},
        "signal": {"esno_db": FieldMap(source="x")},
        "throughput": {"method": FieldMap(constant="passive"), "down_mbps": FieldMap(source="x")},
    }
    fields = {**needed.get(kind, {}), name: FieldMap(source="x", unit=unit)}
    found = fields_of(ReadingMap(kind=kind, fields=fields), {"x": value}.get)
    assert found is not None
    assert found[name] == pytest.approx(expected, rel=1e-5)


def test_every_table_has_a_field_that_uses_it() -> None:
    used = {id(units_of(name)) for record in KINDS.values() for name in record.__dataclass_fields__}
    assert all(id(table) in used for table in UNITS.values())


def test_a_unit_that_the_device_tells_counts() -> None:
    how = ReadingMap(kind="weather", fields={"air_degc": FieldMap(source="x")})
    assert fields_of(how, {"x": 300.0}.get, lambda _: "K") == {"air_degc": pytest.approx(26.85)}
    with pytest.raises(MappingError, match="is in lx; expected one of Cel"):
        fields_of(how, {"x": 300.0}.get, lambda _: "lx")
