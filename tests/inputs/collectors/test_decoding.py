"""Payloads by JSON Pointer, SenML and pattern, against the standards' examples."""

import json
import re

import pytest

from agent.inputs.collectors.decoding import Format, PayloadRefused, decode, leaves, pointer_error
from agent.records import JsonValue

NOW_UNIX_S = 1_784_367_000.0
# RFC 6901, section 5: the document and the table of pointers.
DOCUMENT = rb"""{
  "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5, "k\"l": 6, " ": 7, "m~n": 8
}"""
POINTERS: list[tuple[str, JsonValue]] = [
    ("/foo", ["bar", "baz"]),
    ("/foo/0", "bar"),
    ("/", 0),
    ("/a~1b", 1),
    ("/c%d", 2),
    ("/e^f", 3),
    ("/g|h", 4),
    ("/i\\j", 5),
    ('/k"l', 6),
    ("/ ", 7),
    ("/m~0n", 8),
]


@pytest.mark.parametrize(("pointer", "expected"), POINTERS)
def test_the_standards_table_of_pointers(pointer: str, expected: JsonValue) -> None:
    assert decode("json", None, DOCUMENT, NOW_UNIX_S).value_of(pointer) == expected


def test_the_whole_document() -> None:
    """RFC 6901, section 5: the empty pointer."""
    assert decode("json", None, DOCUMENT, NOW_UNIX_S).value_of("") == json.loads(DOCUMENT)


@pytest.mark.parametrize("pointer", ["/nothing", "/foo/2", "/foo/x", "/foo/-", "/foo/0/deeper", "/foo/00"])
def test_what_is_not_there_is_none(pointer: str) -> None:
    """RFC 6901, section 4: `-` is behind the last element, and an index has no leading zeros."""
    assert decode("json", None, DOCUMENT, NOW_UNIX_S).value_of(pointer) is None


def test_every_listed_source_leads_to_its_value() -> None:
    values = decode("json", None, DOCUMENT, NOW_UNIX_S)
    assert {name: values.value_of(name) for name in values.names} == {
        "/foo/0": "bar", "/foo/1": "baz", **dict(POINTERS[2:]),
    }  # fmt: skip


def test_the_list_of_sources_ends() -> None:
    assert len(leaves(list(range(100_000)))) < 100


@pytest.mark.parametrize("pointer", ["foo", "$.foo", "/a~2b", "/a~"])
def test_pointers_that_are_none(pointer: str) -> None:
    """RFC 6901, section 3: a tilde stands before 0 or 1, and every token after a slash."""
    assert pointer_error(pointer) is not None


def test_of_a_series_the_latest_counts() -> None:
    pack = b'[{"bn":"s:","bt":1784367000,"n":"t","u":"Cel","t":0,"v":21},{"n":"t","u":"Cel","t":-60,"v":20}]'
    values = decode("senml", None, pack, NOW_UNIX_S)
    assert (values.value_of("s:t"), values.units["s:t"], values.unix_s) == (21, "Cel", 1_784_367_000.0)


def test_one_name_with_several_units_by_its_unit() -> None:
    """RFC 8428, section 5.1.3: humidity and position under one name."""
    pack = b'[{"bn":"urn:x","bu":"%RH","v":20},{"u":"lon","v":24.30621},{"u":"lat","v":60.07965}]'
    assert decode("senml", None, pack, NOW_UNIX_S).value_of("urn:x %RH") == 20


@pytest.mark.parametrize(
    ("kind", "payload"),
    [
        ("json", b"{"),
        ("json", b"\xff"),
        ("senml", b"{}"),
        ("senml", b'[{"n": "a", "v": "x"}]'),
        ("number", b"twelve"),
        ("number", b""),
        ("text", b"nothing of the kind"),
        ("json", b"[" * 60_000),
        ("json", b" " * 70_000),
    ],
)
def test_what_cannot_be_read_is_refused(kind: Format, payload: bytes) -> None:
    pattern = re.compile("T=(?P<t>[0-9]+)") if kind == "text" else None
    with pytest.raises(PayloadRefused):
        decode(kind, pattern, payload, NOW_UNIX_S)


def test_plain_numbers_and_patterns() -> None:
    assert decode("number", None, b" -41.5\n", NOW_UNIX_S).value_of("value") == -41.5
    found = decode("text", re.compile("T=(?P<t>[0-9]+)(?P<u>F)?"), b"x T=40", NOW_UNIX_S)
    assert (found.value_of("t"), found.value_of("u")) == ("40", None)
