"""The hand-over on the sheet, out of a real store."""

from dataclasses import replace
from pathlib import Path

from agent.records import ActiveAlert, AlertEvent, Note, Situation
from agent.sheet.hand_over import hand_over, stored_hand_over
from agent.wording import METRIC
from tests.dashboard.stores import TERMINAL, measure, writing
from tests.plan.sample_job import job as sample_job

JOB = sample_job()
START = JOB.day.start_unix_s


def situation(unix_s: float, **figures: float) -> Situation:
    return Situation(
        unix_s=unix_s, level="fine", verdict="All well", cause="none", action="", deadline_unix_s=None,
        next_event=None, next_event_unix_s=None, alerts=(), last_seen_unix_s={}, figures=figures,
    )  # fmt: skip


NOTES = (
    Note(unix_s=START + 600.0, kind="peak-done"),
    Note(unix_s=START + 1200.0, kind="other", text="cable swapped", by="north crew"),
)


def test_the_sheet_tells_what_the_store_knows(tmp_path: Path) -> None:
    store = tmp_path / "store.sqlite"
    assert stored_hand_over(store, TERMINAL, JOB) == []
    measure(store, "note", NOTES)
    with writing(store) as writer:
        now = situation(START + 1800.0, reference_db=14.1, esno_db=13.9, deficit_db=0.2)
        writer.add_events((), [now], START + 1800.0)
    told = dict(stored_hand_over(store, TERMINAL, JOB))
    assert told["State"] == "All well (09:30)"
    assert told["Reference"] == "Es/N0 14.1 dB, peak-done 09:10; 0.2 dB missing now"
    assert told["Note 09:20"] == "other: cable swapped (north crew)"
    # What was stored before this job says nothing of it.
    later = replace(JOB, day=replace(JOB.day, start_unix_s=START + 86_400.0, end_unix_s=START + 90_000.0))
    assert stored_hand_over(store, TERMINAL, later) == []


def test_alerts_and_heat_are_handed_over_and_no_reference_is_said() -> None:
    event = AlertEvent(
        unix_s=START, rule="shade", severity="act", state="raised", cause="overheat", action="Shade it",
        evidence=(), figures={}, deadline_unix_s=None,
    )  # fmt: skip
    alert = ActiveAlert(event=event, since_unix_s=START, acknowledged=False, snoozed_until_unix_s=None)
    warm = situation(START, transmitter_degc=51.4, transmitter_limit_degc=55.0, transmitter_shaded=0.0)
    told = dict(hand_over(replace(warm, alerts=(alert,), action="Shade it"), (), METRIC))
    assert told["Alert"] == "shade, act" and told["State"].endswith(". Shade it")
    assert told["Reference"].startswith("none yet")
    assert told["Transmitter"] == "51 °C of 55, not shaded"
