"""Other devices' words and numbers become our fields."""

import tomllib

import pytest

from agent.errors import UsageError
from agent.inputs.mapping import MappingError, fields_of, reading_maps, sources_of
from agent.inputs.payloads import PayloadError, reading_of
from agent.records import JsonValue, Power, Signal, Temperature, Throughput

MAP = """
[[signal]]
esno_db = "snr"
rx_level_dbm = { source = "agc", scale = 0.1, offset = -100 }
locked = { source = "lock", words = { "1" = true, "0" = false } }
modcod = "mode"
[[temperature]]
where = { constant = "transmitter" }
temperature_degc = { source = "pa_f", scale = 0.5555555555555556, offset = -17.77777777777778 }
[[temperature]]
where = { constant = "ambient" }
temperature_degc = "air"
[[power]]
source = { source = "feed", words = { "GEN" = "generator", "BAT" = "battery" } }
[[throughput]]
method = { constant = "passive" }
down_mbps = { source = "rx_kbit", scale = 0.001 }
bytes_used = { source = "rx_kb", scale = 1000 }
"""
MAPS = reading_maps(tomllib.loads(MAP), "map.toml")


def readings(values: dict[str, JsonValue]) -> list[object]:
    """The readings of one message or row, at time 0 of the year 2026."""
    found = (fields_of(one, values.get) for one in MAPS)
    kinds = (one.kind for one in MAPS)
    start_unix_s = 1_767_225_600.0
    return [
        reading_of(kind, {"time": start_unix_s, **tree})
        for kind, tree in zip(kinds, found, strict=True)
        if tree is not None
    ]


def at(kind: type, **fields: object) -> object:
    return kind(unix_s=1_767_225_600.0, **fields)


def test_text_and_numbers_become_the_same_reading() -> None:
    expected = at(Signal, esno_db=12.5, rx_level_dbm=-55.0, locked=True, modcod="7")
    assert readings({"snr": "12.5", "agc": "450", "lock": "1", "mode": "7"}) == [expected]
    assert readings({"snr": 12.5, "agc": 450, "lock": 1, "mode": 7}) == [expected]


def test_a_modem_without_lock_is_a_reading() -> None:
    assert readings({"lock": "0"}) == [at(Signal, locked=False)]
    assert readings({"lock": "0", "agc": "450"}) == [at(Signal, locked=False, rx_level_dbm=-55.0)]


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0)])
def test_scale_and_offset_by_the_fixed_points_of_the_scales(fahrenheit: float, celsius: float) -> None:
    """Ice melts at 32 °F and 0 °C, water boils at 212 °F and 100 °C, and both scales meet at -40."""
    (one,) = readings({"pa_f": fahrenheit})
    assert isinstance(one, Temperature)
    assert one.where == "transmitter"
    assert one.temperature_degc == pytest.approx(celsius, abs=1e-9)


def test_two_thermometers_of_one_row_are_two_readings() -> None:
    found = readings({"pa_f": "122", "air": "31.5"})
    places = [one.where for one in found if isinstance(one, Temperature)]
    assert sorted(places) == ["ambient", "transmitter"]


def test_words_are_translated_and_whole_numbers_stay_whole() -> None:
    assert readings({"feed": "BAT"}) == [at(Power, source="battery")]
    expected = at(Throughput, method="passive", down_mbps=2.5, bytes_used=12_000)
    assert readings({"rx_kbit": "2500", "rx_kb": "12"}) == [expected]


def test_a_row_without_any_value_or_without_the_one_that_counts_is_no_reading() -> None:
    assert readings({}) == []
    assert readings({"other": 3}) == []
    assert readings({"mode": "7"}) == []
    assert readings({"rx_kb": "12"}) == []


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"agc": "high"}, "signal.rx_level_dbm: agc is 'high'; expected a number that becomes"),
        ({"feed": "SOLAR"}, "power.source: feed is 'SOLAR'; expected one of GEN, BAT"),
        ({"snr": [1, 2]}, r"signal.esno_db: snr is \[1, 2\]; expected a number from -40 to 60"),
    ],
)
def test_a_value_that_cannot_be_taken_over_is_named(values: dict[str, JsonValue], words: str) -> None:
    with pytest.raises(MappingError, match=words):
        readings(values)


def test_what_comes_out_is_checked_like_any_message() -> None:
    with pytest.raises(PayloadError, match="esno_db is 900"):
        readings({"snr": "900"})


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("[[signal]]\nsnr = 'x'\n", 'signal.snr = "x": allowed is only esno_db'),
        ("[[signals]]\nesno_db = 'x'\n", "did you mean signal?"),
        ("[[signal]]\nesno_db = 3\n", "signal.esno_db = 3: allowed is the name of a source in quotes"),
        ("[[signal]]\nesno_db = { scale = 2 }\n", "allowed is either source or constant"),
        ("[[signal]]\nesno_db = { source = 'x', constant = 1 }\n", "allowed is either source or constant"),
        ("[[signal]]\nesno_db = { source = 'x', factor = 2 }\n", "factor"),
        ("[[signal]]\nesno_db = { constant = 12.0 }\n", "at least one field with a source"),
        ("[[signal]]\nmodcod = 'x'\n", "signal.locked is missing: allowed is a source for locked or esno_db"),
        ("[[temperature]]\ntemperature_degc = 'x'\n", "temperature.where is missing"),
        ("signal = 'x'\n", "allowed is a table [[signal]]"),
        ("", "a table is missing"),
    ],
)
def test_a_wrong_map_is_explained(text: str, words: str) -> None:
    with pytest.raises(UsageError) as raised:
        reading_maps(tomllib.loads(text), "map.toml")
    assert words in str(raised.value)
    assert "map.toml" in str(raised.value)


def test_sources_are_named_once() -> None:
    assert sorted(sources_of(MAPS)) == sorted(
        ["snr", "agc", "lock", "mode", "pa_f", "air", "feed", "rx_kbit", "rx_kb"]
    )
