"""What a terminal sends home: read back as it was, else refused; thinned as numpy does it."""

import zlib
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from agent.forward.batch import Batch, BatchError, Minute, PlanText, Row, packed, receipt, unpacked
from agent.forward.thinning import thinned
from agent.inputs.messages import kind_of
from agent.records import AnyReading, Signal, Temperature
from agent.store.writer import Stored
from tests.inputs.any_readings import readings
from tests.watch.sample_day import MIDNIGHT_UNIX_S, engine, full_day

finite = st.floats(allow_nan=False, allow_infinity=False)


@given(st.lists(readings(), max_size=5), st.dictionaries(st.text(max_size=9), finite), st.text(max_size=40))
def test_a_batch_is_read_back_as_it_was(
    found: list[AnyReading], figures: dict[str, float], text: str
) -> None:
    rows = tuple(Row(seq=place, reading=one) for place, one in enumerate(found))
    batch = Batch(
        terminal="van-1",
        seq=7,
        rows=rows,
        minutes=(Minute(60.0, figures),),
        plan=PlanText(text, text, text),
        inputs=text,
    )
    assert unpacked(packed(batch)) == batch


def test_situations_and_events_are_read_back() -> None:
    watch = engine()
    events = tuple(event for one in full_day() for event in watch.update(one))
    batch = Batch(terminal="van-1", seq=1, events=events, situation=watch.situation())
    assert events
    assert unpacked(packed(batch)) == batch


@pytest.mark.parametrize(
    ("payload", "told"),
    [
        (b"", "cut short"),
        (b"{}", "zlib"),
        (zlib.compress(b"{}"), "terminal"),
        (zlib.compress(b"[1"), "JSON"),
        (packed(Batch(terminal="van-1", seq=1))[:-1], "cut short"),
        (zlib.compress(b" " * 20_000_000), "more than"),
        (zlib.compress(b'{"terminal":"a","seq":-1,"rows":[],"events":[],"minutes":[],"situation":null,'
                       b'"plan":null,"inputs":null}'), "seq"),
        (zlib.compress(b'{"terminal":"a","seq":1,"rows":[{"kind":"signal","seq":1,"n":1,"reading":'
                       b'{"time":1784367000,"esno_db":900},"low":{},"high":{}}],"events":[],"minutes":[],'
                       b'"situation":null,"plan":null,"inputs":null}'), "esno_db is 900"),
        (zlib.compress(b'{"terminal":"a","seq":1,"rows":[{"kind":"gain","seq":1,"n":1,"reading":'
                       b'{"time":1784367000},"low":{},"high":{}}],"events":[],"minutes":[],'
                       b'"situation":null,"plan":null,"inputs":null}'), "gain"),
    ],
)  # fmt: skip
def test_what_is_none_is_refused_with_what_is_wrong(payload: bytes, told: str) -> None:
    with pytest.raises(BatchError, match=told):
        unpacked(payload)


@given(st.binary(max_size=200))
def test_any_other_bytes_are_refused(payload: bytes) -> None:
    with pytest.raises(BatchError):
        unpacked(payload)


def test_a_receipt_is_of_these_bytes_alone() -> None:
    one, other = (packed(Batch(terminal="van-1", seq=seq)) for seq in (1, 2))
    assert receipt(one) == receipt(bytes(one)) != receipt(other)


def signals(values: Sequence[float | None]) -> list[Stored]:
    """Five seconds apart, from the start of a minute."""
    found = (
        Signal(unix_s=MIDNIGHT_UNIX_S + 5.0 * place, locked=value is not None, esno_db=value)
        for place, value in enumerate(values)
    )
    return [Stored(place, "signal", one) for place, one in enumerate(found, start=1)]


@given(st.lists(st.none() | st.floats(-40.0, 60.0), min_size=13, max_size=60))
def test_a_minute_has_the_median_least_and_greatest_that_numpy_finds(values: list[float | None]) -> None:
    end_unix_s = MIDNIGHT_UNIX_S + 60.0 * (len(values) // 12)
    minutes = list(thinned(signals(values), end_unix_s))
    assert len(minutes) == len(values) // 12
    for number, (row,) in enumerate(minutes):
        some = values[12 * number : 12 * number + 12]
        known = [one for one in some if one is not None]
        assert isinstance(row.reading, Signal)
        assert row.n == 12
        assert row.seq == 12 * number + 12
        assert row.reading.unix_s == MIDNIGHT_UNIX_S + 60.0 * number + 55.0
        assert row.reading.locked == (None not in some)
        if known:
            # The type of quantile by R. J. Hyndman and Y. Fan (1996) that is one of the values.
            assert row.reading.esno_db == np.percentile(known, 50, method="lower")
            assert (row.low["esno_db"], row.high["esno_db"]) == (np.min(known), np.max(known))
        else:
            assert row.reading.esno_db is None
            assert row.low == {}


def test_each_thermometer_has_its_own_minute_and_one_reading_stays_as_it_is() -> None:
    found = [
        Stored(
            seq, "temperature", Temperature(unix_s=MIDNIGHT_UNIX_S + seq, where=where, temperature_degc=degc)
        )
        for seq, where, degc in ((1, "modem", 30.0), (2, "transmitter", 50.0), (3, "modem", 34.0))
    ]
    found.append(Stored(4, "signal", Signal(unix_s=MIDNIGHT_UNIX_S + 9.0, esno_db=9.0, extra={"lane": 2})))
    ((transmitter, modem, signal),) = thinned(found, MIDNIGHT_UNIX_S + 60.0)
    assert [row.seq for row in (transmitter, modem, signal)] == [2, 3, 4]
    assert transmitter.reading == found[1].reading
    assert signal.reading == found[3].reading
    assert isinstance(modem.reading, Temperature)
    assert (modem.reading.temperature_degc, modem.low, modem.n) == (30.0, {"temperature_degc": 30.0}, 2)


def test_a_day_is_thinned_to_every_minute_and_place() -> None:
    stored = [Stored(seq, kind_of(one), one) for seq, one in enumerate(full_day(), start=1)]
    last = replace(stored[-1], seq=len(stored) + 1)
    rows = [row for minute in thinned([*stored, last], float("inf")) for row in minute]

    def key(one: Stored) -> tuple[int, str, str]:
        return int(one.reading.unix_s // 60), one.kind, getattr(one.reading, "where", None) or ""

    groups = {name: len(list(some)) for name, some in groupby(sorted(stored, key=key), key=key)}
    assert len(rows) == len(groups)
    assert sum(row.n for row in rows) == len(stored) + 1
