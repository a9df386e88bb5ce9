"""MQTT payloads: what is taken, what is refused, and with which words."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.inputs.messages import alert_message, kind_of, status_message, to_message
from agent.inputs.payloads import MAX_NESTING, MAX_PAYLOAD_BYTES, PayloadError, parse
from agent.records import KINDS, AlertEvent, AnyReading, Signal, Temperature
from tests.inputs.any_readings import json_values, readings
from tests.inputs.malformed import MALFORMED, Malformed

# Reference, from memory: two moments that Unix folklore celebrated, and what date prints for them.
KNOWN_TIMES = {
    "2001-09-09T01:46:40Z": 1_000_000_000.0,
    "2009-02-13T23:31:30Z": 1_234_567_890.0,
    # RFC 3339, section 5.8: an offset of -08:00 names the same moment as eight hours later in UTC.
    "2009-02-13T15:31:30-08:00": 1_234_567_890.0,
    "2009-02-13t23:31:30z": 1_234_567_890.0,
    # RFC 3339, section 5.8: a leap second is written as :60; this one was inserted.
    "2016-12-31T23:59:60Z": 1_483_228_800.0,
}


@pytest.mark.parametrize("text", KNOWN_TIMES)
def test_times_as_published(text: str) -> None:
    payload = json.dumps({"time": text, "esno_db": 9.0}).encode()
    assert parse("signal", payload).unix_s == KNOWN_TIMES[text]


def test_fractions_of_a_second_count() -> None:
    reading = parse("signal", b'{"time": "2009-02-13T23:31:30.25+00:00", "esno_db": 9}')
    assert reading == Signal(unix_s=1_234_567_890.25, esno_db=9.0)


def test_unknown_fields_are_kept() -> None:
    payload = b'{"time": 1234567890, "where": "modem", "temperature_degc": 40, "fan": {"rpm": [1200, null]}}'
    reading = parse("temperature", payload)
    assert isinstance(reading, Temperature)
    assert reading.extra == {"fan": {"rpm": [1200, None]}}


def test_fields_that_the_record_adds_cannot_be_smuggled_in() -> None:
    reading = parse(
        "signal", b'{"time": 1234567890, "esno_db": 9, "unix_s": 5, "sent_unix_s": 6, "extra": 7}'
    )
    assert (reading.unix_s, reading.sent_unix_s) == (1_234_567_890.0, None)
    assert reading.extra == {"unix_s": 5, "sent_unix_s": 6, "extra": 7}


@pytest.mark.parametrize("case", MALFORMED, ids=lambda case: case.name)
def test_malformed_payloads_are_refused_in_words(case: Malformed) -> None:
    with pytest.raises(PayloadError) as refused:
        parse(case.kind, case.payload)
    message = str(refused.value)
    assert all(word in message for word in case.words), message
    assert len(message) < 1000
    message.encode()


@given(readings())
def test_a_message_gives_its_reading_back(reading: AnyReading) -> None:
    """Property: `to_message` and `parse` are inverse, to the last digit of every number."""
    assert parse(kind_of(reading), to_message(reading)) == reading


@given(
    st.sampled_from(list(KINDS)),
    st.binary(max_size=200) | json_values.map(lambda one: json.dumps(one).encode()),
)
@settings(max_examples=300)
def test_any_payload_is_read_or_refused(kind: str, payload: bytes) -> None:
    """Property: nothing else than PayloadError comes out of arbitrary bytes, and its words can be stored."""
    try:
        parse(kind, payload)
    except PayloadError as error:
        str(error).encode()


@pytest.mark.parametrize("depth", [MAX_NESTING - 1, MAX_NESTING + 1])
def test_nesting_limit(depth: int) -> None:
    payload = b'{"time": 1234567890, "esno_db": 9, "x": ' + b"[" * depth + b"]" * depth + b"}"
    if depth < MAX_NESTING:
        assert isinstance(parse("signal", payload), Signal)
    else:
        with pytest.raises(PayloadError, match="nested"):
            parse("signal", payload)


def test_size_limit() -> None:
    start, end = b'{"time": 1234567890, "esno_db": 9, "x": "', b'"}'
    full = start + b"x" * (MAX_PAYLOAD_BYTES - len(start) - len(end)) + end
    assert isinstance(parse("signal", full), Signal)
    with pytest.raises(PayloadError, match=str(MAX_PAYLOAD_BYTES + 1)):
        parse("signal", full + b" ")


def test_an_alert_message_has_the_agreed_fields() -> None:
    event = AlertEvent(
        unix_s=1_234_567_890.0,
        rule="shade",
        severity="act",
        state="raised",
        cause="overheat",
        action="Shade it",
        evidence=("50 °C",),
        figures={"temperature_degc": 50.0},
        deadline_unix_s=1_234_567_891.5,
    )
    assert json.loads(alert_message(event)) == {
        "time": "2009-02-13T23:31:30.000Z",
        "rule": "shade",
        "severity": "act",
        "state": "raised",
        "cause": "overheat",
        "action": "Shade it",
        "evidence": ["50 °C"],
        "deadline_time": "2009-02-13T23:31:31.500Z",
    }


def test_a_status_message_has_the_age_of_every_input() -> None:
    body = json.loads(status_message(1_234_567_890.0, "online", {"signal": 1_234_567_887.5}))
    assert body == {"time": "2009-02-13T23:31:30.000Z", "state": "online", "inputs": {"signal": 2.5}}
