"""SenML against the examples of its standard (RFC 8428; sections from memory)."""

import json

import pytest

from agent.inputs.senml import Record, SenmlError, resolved

NOW_UNIX_S = 1_784_367_000.0

# RFC 8428, section 5.1.2: several quantities of one moment, and a series that leads up to it.
SERIES = """[
 {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,"n":"voltage","u":"V","v":120.1},
 {"n":"current","t":-5,"v":1.2},
 {"n":"current","t":-4,"v":1.3},
 {"n":"current","v":1.7}
]"""


def records(text: str) -> list[Record]:
    return resolved(json.loads(text), NOW_UNIX_S)


def test_one_record_without_a_time_is_of_now() -> None:
    """RFC 8428, section 5.1.1."""
    assert records('[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]') == [
        Record("urn:dev:ow:10e2073a01080063", "Cel", 23.1, None)
    ]


def test_base_fields_are_resolved_into_each_record() -> None:
    """RFC 8428, section 5.1.2, shortened, resolved by section 4.6."""
    start = 1276020076.001
    assert records(SERIES) == [
        Record("urn:dev:ow:10e2073a0108006:voltage", "V", 120.1, start),
        Record("urn:dev:ow:10e2073a0108006:current", "A", 1.2, start - 5),
        Record("urn:dev:ow:10e2073a0108006:current", "A", 1.3, start - 4),
        Record("urn:dev:ow:10e2073a0108006:current", "A", 1.7, start),
    ]


def test_one_name_with_several_units() -> None:
    """RFC 8428, section 5.1.3, its first, fourth and last record."""
    text = """[
     {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
     {"t":60,"v":20.3},
     {"u":"lat","t":180,"v":60.07967}]"""
    name = "urn:dev:ow:10e2073a01080063"
    assert records(text) == [
        Record(name, "%RH", 20.0, 1320067464.0),
        Record(name, "%RH", 20.3, 1320067524.0),
        Record(name, "lat", 60.07967, 1320067644.0),
    ]


def test_texts_truth_and_data() -> None:
    """RFC 8428, section 5.1.5."""
    text = """[
     {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
     {"n":"label","vs":"Machine Room"},
     {"n":"open","vb":false},
     {"n":"nfc-reader","vd":"aGkgCg"}]"""
    assert [one.value for one in records(text)] == [23.1, "Machine Room", False, "aGkgCg"]


def test_times_below_2_to_the_28_are_relative() -> None:
    """RFC 8428, section 4.5.3."""
    assert records('[{"n":"a","v":1,"t":-5}]')[0].unix_s == NOW_UNIX_S - 5
    assert records('[{"n":"a","v":1,"t":268435456}]')[0].unix_s == 268435456.0


def test_base_value_adds_up() -> None:
    """RFC 8428, section 4.1: the base value is added to the value; one of the two may be absent."""
    found = records('[{"bn":"a","bv":20,"n":"1","v":0.5},{"n":"2"}]')
    assert [one.value for one in found] == [20.5, 20.0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{}", "no list"),
        ("[]", "no list"),
        ("[1]", "record 1"),
        ('[{"v":1}]', "no name"),
        ('[{"n":"a","v":"1"}]', "expected a number"),
        ('[{"n":"a","v":NaN}]', "expected a number"),
        ('[{"n":"a","vb":1}]', "true or false"),
        ('[{"n":5,"v":1}]', "expected text"),
        # RFC 8428, section 4.4: later versions, and labels that end in an underscore, must be understood.
        ('[{"bver":11,"n":"a","v":1}]', "bver"),
        ('[{"n":"a","v":1,"zoom_":2}]', "zoom_"),
    ],
)
def test_what_is_no_pack_is_refused(text: str, said: str) -> None:
    with pytest.raises(SenmlError, match=said):
        records(text)
