"""Alerts and the crew's answers, by hand."""

from math import isnan

import pytest

from agent.records import AlertEvent, AlertState, AnyReading, Note, NoteKind, Severity, Signal, Temperature
from agent.report.actions import actions
from agent.report.episodes import episodes


def event(
    unix_s: float, rule: str, state: AlertState, severity: Severity = "act", words: str = ""
) -> AlertEvent:
    """One change of an alert."""
    return AlertEvent(
        unix_s=unix_s,
        rule=rule,
        severity=severity,
        state=state,
        cause="mispoint",
        action=f"do {words}",
        evidence=(words,),
        figures={},
    )


def note(unix_s: float, kind: NoteKind, where: str | None = None) -> Note:
    """A note of the crew."""
    return Note(unix_s=unix_s, kind=kind, where=where, by="Nell")


def test_from_raised_over_seen_and_done_to_cleared() -> None:
    deeds = actions([note(50.0, "peak-start"), note(700.0, "peak-start"), note(900.0, "peak-done")])
    (one,) = episodes(
        [
            event(100.0, "repeak", "raised", words="first"),
            event(160.0, "repeak", "acknowledged"),
            event(200.0, "repeak", "raised", "urgent", words="graver"),
            event(300.0, "repeak", "acknowledged"),
            event(1000.0, "repeak", "cleared", words="over"),
        ],
        deeds,
    )
    assert (one.start_unix_s, one.end_unix_s, one.severity) == (100.0, 1000.0, "urgent")
    assert (one.advice, one.evidence, one.ending) == ("do graver", ("graver",), ("over",))
    assert one.acknowledged_unix_s == 160.0
    assert [deed.start_unix_s for deed in one.actions] == [700.0]
    assert one.response_s == 60.0
    assert one.lasted_s(5000.0) == 900.0


def test_a_deed_counts_as_the_answer_where_nobody_acknowledged() -> None:
    (one,) = episodes([event(100.0, "shade", "raised")], actions([note(400.0, "shade-on")]))
    assert one.response_s == 300.0
    assert one.end_unix_s is None
    assert one.lasted_s(1100.0) == 1000.0


def test_no_answer_is_not_an_answer_after_no_time() -> None:
    events = [event(100.0, "wait-rain", "raised"), event(200.0, "wait-rain", "cleared")]
    (one,) = episodes(events, actions([note(150.0, "shade-on"), note(150.0, "peak-start")]))
    assert isnan(one.response_s)
    assert one.actions == ()


def test_two_alerts_of_a_rule_and_another_between() -> None:
    found = episodes(
        [
            event(100.0, "repeak", "raised"),
            event(150.0, "shade", "raised"),
            event(200.0, "repeak", "cleared"),
            event(300.0, "repeak", "raised"),
            event(400.0, "shade", "cleared"),
            event(500.0, "repeak", "cleared"),
        ],
        (),
    )
    assert [(one.rule, one.start_unix_s, one.end_unix_s) for one in found] == [
        ("repeak", 100.0, 200.0),
        ("shade", 150.0, 400.0),
        ("repeak", 300.0, 500.0),
    ]


def test_events_without_a_beginning_are_left_out() -> None:
    assert episodes([event(1.0, "repeak", "cleared"), event(2.0, "shade", "acknowledged")], ()) == ()


def test_a_re_peak_is_judged_by_the_five_minutes_before_and_after() -> None:
    """13 dB before, 5 dB while the dish moves, 15 dB from a minute after its end on."""
    course = [(float(t), 13.0 if t < 1000 else 5.0 if t < 1260 else 15.0) for t in range(0, 3000, 10)]
    readings: list[AnyReading] = [Signal(unix_s=t, esno_db=level) for t, level in course]
    (deed,) = actions([*readings, note(1000.0, "peak-start"), note(1200.0, "peak-done")])
    assert (deed.kind, deed.start_unix_s, deed.end_unix_s) == ("peak-start", 1000.0, 1200.0)
    assert (deed.before, deed.after, deed.unit) == (13.0, 15.0, "dB")
    assert deed.change == 2.0


def test_a_forgotten_end_of_peaking_is_taken_after_twenty_minutes() -> None:
    deeds = actions([note(1000.0, "peak-start"), note(5000.0, "peak-done")])
    assert [(deed.kind, deed.end_unix_s) for deed in deeds] == [("peak-start", 2200.0), ("peak-done", 5000.0)]


def test_the_next_peaking_ends_the_one_before() -> None:
    deeds = actions([note(1000.0, "peak-start"), note(1300.0, "peak-start"), note(1500.0, "peak-done")])
    assert [deed.end_unix_s for deed in deeds] == [1300.0, 1500.0]


@pytest.mark.parametrize("where", ["transmitter", None])
def test_a_shade_is_judged_half_an_hour_later(where: str | None) -> None:
    """50 °C up to the note, then 0.1 K less each minute: about 47.25 °C on average from 25 to 30 min."""
    readings: list[AnyReading] = [
        Temperature(unix_s=60.0 * k, where="transmitter", temperature_degc=50.0 - 0.1 * max(0, k - 30))
        for k in range(90)
    ]
    readings += [Temperature(unix_s=60.0 * k, where="modem", temperature_degc=20.0) for k in range(90)]
    (deed,) = actions([*readings, note(1800.0, "shade-on", where)])
    assert deed.before == pytest.approx(50.0)
    assert deed.after == pytest.approx(47.3, abs=0.1)
    assert deed.unit == "°C"


def test_without_a_thermometer_the_effect_is_not_measured() -> None:
    (deed,) = actions([note(1800.0, "shade-on")])
    assert isnan(deed.before)
    assert isnan(deed.change)
