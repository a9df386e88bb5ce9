"""Payloads as broken, mistaken or hostile devices send them, and words that the refusal must have."""

from dataclasses import dataclass

TIME = '"time": 1784365200'  # 2026-07-18T09:00:00Z


@dataclass(frozen=True)
class Malformed:
    """`words` stand in the refusal: what, got, expected."""

    name: str
    kind: str
    payload: bytes
    words: tuple[str, ...]


def _case(name: str, kind: str, payload: str | bytes, *words: str) -> Malformed:
    """A dollar sign in a text stands for a right time."""
    if isinstance(payload, str):
        payload = payload.replace("$", TIME).encode()
    return Malformed(name, kind, payload, words)


MALFORMED = (
    _case("empty", "signal", b"", "not JSON", "one JSON object"),
    _case("no-json", "signal", b"esno=9.1", "not JSON", "esno=9.1"),
    _case("cut-short", "signal", '{$, "esno_db": 9', "not JSON"),
    _case("two-objects", "signal", '{$, "esno_db": 9}{}', "not JSON", "Extra data"),
    _case("number", "signal", b"9.1", "9.1", "one JSON object"),
    _case("null", "signal", b"null", "null", "one JSON object"),
    _case("list", "signal", "[{$}]", "one JSON object", "message of its own"),
    _case("latin-1", "note", b'{"kind": "other", "text": "\xe9"}', "0xe9", "UTF-8"),
    _case("byte-order-mark", "signal", "\ufeff{$, \"esno_db\": 9}", "not JSON", "BOM"),
    _case("utf-16", "signal", "{}".encode("utf-16"), "0xff", "UTF-8"),
    _case("half-surrogate", "note", '{$, "kind": "other", "text": "\\ud83d"}', "surrogate"),
    _case("half-surrogate-in-extra", "note", '{$, "kind": "other", "x": ["\\udc00"]}', "surrogate"),
    _case("nan", "signal", '{$, "esno_db": NaN}', "NaN", "finite"),
    _case("infinity", "signal", '{$, "esno_db": -Infinity}', "-Infinity", "finite"),
    _case("too-large-float", "signal", '{$, "esno_db": 9, "x": 1e999}', "1e999", "finite"),
    _case("too-many-digits", "signal", '{$, "esno_db": ' + "1" * 5000 + "}", "not JSON", "digits"),
    _case("same-key-twice", "signal", '{$, "esno_db": 1, "esno_db": 9}', "esno_db", "twice"),
    _case("time-twice", "signal", '{$, $, "esno_db": 9}', "time", "twice"),
    _case("twice-inside", "signal", '{$, "esno_db": 9, "x": {"a": 1, "a": 2}}', '"a"', "twice"),
    _case("deep", "signal", '{$, "esno_db": 9, "x": ' + "[" * 40 + "]" * 40 + "}", "nested"),
    _case("bottomless", "signal", "[" * 60_000, "nested"),
    _case("bottomless-objects", "signal", '{"a":' * 10_000, "nested"),
    _case("too-big", "note", '{$, "kind": "other", "x": "' + "x" * 70_000 + '"}', "bytes", "65536"),
    _case("no-time", "signal", '{"esno_db": 9}', "time is missing", "RFC 3339"),
    _case("time-null", "signal", '{"time": null, "esno_db": 9}', "time is null", "RFC 3339"),
    _case("time-true", "signal", '{"time": true, "esno_db": 9}', "time is true"),
    _case("time-list", "signal", '{"time": [1784365200], "esno_db": 9}', "time is [1784365200]"),
    _case("time-milliseconds", "signal", '{"time": 1784365200123, "esno_db": 9}', "milliseconds", "1000"),
    _case("time-microseconds", "signal", '{"time": 1784365200123456, "esno_db": 9}', "microseconds"),
    _case("time-nanoseconds", "signal", '{"time": 1784365200123456789, "esno_db": 9}', "nanoseconds"),
    _case("time-never-set", "signal", '{"time": 12.5, "esno_db": 9}', "12.5", "clock"),
    _case("time-huge", "signal", '{"time": 1' + "0" * 400 + ', "esno_db": 9}', "between the years"),
    _case("time-negative", "signal", '{"time": -1784365200, "esno_db": 9}', "between the years"),
    _case("time-naive", "signal", '{"time": "2026-07-18T09:00:00", "esno_db": 9}', "offset", "Z"),
    _case("time-date", "signal", '{"time": "2026-07-18", "esno_db": 9}', "2026-07-18", "RFC 3339"),
    _case("time-words", "signal", '{"time": "now", "esno_db": 9}', '"now"', "RFC 3339"),
    _case("time-week", "signal", '{"time": "2026-W29-6T09:00:00Z", "esno_db": 9}', "RFC 3339"),
    _case("time-basic", "signal", '{"time": "20260718T090000Z", "esno_db": 9}', "RFC 3339"),
    _case("time-february-30", "signal", '{"time": "2026-02-30T09:00:00Z", "esno_db": 9}', "2026-02-30"),
    _case("time-hour-24", "signal", '{"time": "2026-07-18T24:30:00Z", "esno_db": 9}', "24:30"),
    _case("time-year-1", "signal", '{"time": "0001-01-01T00:00:00Z", "esno_db": 9}', "between the years"),
    _case("time-arabic-digits", "signal", '{"time": "٢٠٢٦-07-18T09:00:00Z", "esno_db": 9}', "RFC 3339"),
    _case("time-in-quotes", "signal", '{"time": "1784365200", "esno_db": 9}', "RFC 3339"),
    _case("sent-time-wrong", "signal", '{$, "sent_time": "x", "esno_db": 9}', "sent_time"),
    _case("no-level", "signal", '{$, "modcod": "QPSK 1/2"}', "locked, esno_db", "tx_power_dbm"),
    _case("undo-of-nothing", "note", '{$, "kind": "undo"}', "id is missing", "takes back"),
    _case("level-null", "signal", '{$, "esno_db": null}', "at least one"),
    _case("no-rate", "throughput", '{$, "method": "active", "jitter_ms": 3}', "down_mbps, up_mbps"),
    _case("number-in-quotes", "signal", '{$, "esno_db": "9.1"}', '"9.1"', "-40 to 60", "quotes"),
    _case("number-true", "signal", '{$, "esno_db": true}', "esno_db is true", "-40 to 60"),
    _case("too-high", "signal", '{$, "esno_db": 61}', "61", "-40 to 60"),
    _case("percent", "signal", '{$, "quality_percent": 101}', "101", "0 to 100"),
    _case("locked-number", "signal", '{$, "esno_db": 9, "locked": 1}', "locked is 1", "true or false"),
    _case("no-place", "temperature", '{$, "temperature_degc": 40}', "where is missing"),
    _case("no-temperature", "temperature", '{$, "where": "modem"}', "temperature_degc is missing"),
    _case("kelvin", "temperature", '{$, "where": "modem", "temperature_degc": 313}', "-90 to 200"),
    _case("place-too-long", "temperature", '{$, "where": "' + "x" * 33 + '", "temperature_degc": 4}',
          "32 characters"),
    _case("place-number", "temperature", '{$, "where": 5, "temperature_degc": 4}', "where is 5"),
    _case("method-unknown", "throughput", '{$, "method": "fast", "up_mbps": 1}', '"fast"', "active"),
    _case("method-missing", "throughput", '{$, "up_mbps": 1}', "method is missing", "active"),
    _case("rate-negative", "throughput", '{$, "method": "active", "up_mbps": -1}', "-1", "0 to"),
    _case("bytes-broken", "throughput", '{$, "method": "active", "up_mbps": 1, "bytes_used": 1.5}',
          "bytes_used is 1.5"),
    _case("source-unknown", "power", '{$, "source": "solar"}', "solar", "generator"),
    _case("note-unknown", "note", '{$, "kind": "lunch"}', "lunch", "shade-on"),
    _case("note-too-long", "note", '{$, "kind": "other", "text": "' + "x" * 501 + '"}', "500 characters"),
    _case("snooze-zero", "acknowledge", '{$, "rule": "shade", "snooze_s": 0}', "snooze_s is 0"),
    _case("wind-impossible", "weather", '{$, "gust_m_s": 300}', "gust_m_s is 300", "0 to 150"),
    _case("kind-misspelt", "temprature", b"{}", "temprature", "did you mean temperature?"),
    _case("kind-unknown", "x", b"{}", '"x"', "signal"),
)  # fmt: skip
