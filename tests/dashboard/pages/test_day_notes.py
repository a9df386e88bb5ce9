"""Notes for an earlier time and labels: from the day page to the broker, the store and labels.csv."""

import json
from dataclasses import replace
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Browser, expect

from agent.inputs.payloads import parse
from agent.planning.compute import compute_plan
from agent.records import Note
from agent.replay.labels import labels_from_csv
from dashboard import queries
from dashboard.messages import late_note_payload
from dashboard.page_data.labels import in_order, proposed
from dashboard.site_time import field_text, from_field
from tests.dashboard.conftest import Heard, Serve
from tests.dashboard.looking import SIZES, check_looks, visit
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SCENES, SHADE, TERMINAL
from tests.dashboard.stores import measure, tell, writing
from tests.plan.sample_job import job
from tests.processes import Mosquitto

MADRID = ZoneInfo("Europe/Madrid")
AT_UNIX_S = NOW_UNIX_S - 1800.0  # 13:06 in Madrid, which is UTC+2 in July
SMALLEST_TARGET_PX = 24.0  # WCAG 2.2 success criterion 2.5.8


@pytest.fixture
def store(tmp_path: Path) -> Path:
    """A morning with a plan, one note, and an alert that cleared."""
    path = tmp_path / "store.sqlite3"
    with writing(path) as writer:
        writer.save_plan(job(), compute_plan(job()), "invented")
    measure(path, "note", [Note(unix_s=NOW_UNIX_S - 600.0, kind="rain")])
    over = replace(REPEAK, unix_s=NOW_UNIX_S - 60.0, state="cleared")
    tell(path, SCENES["act"], events=[SHADE, REPEAK, over])
    return path


def stored_notes(path: Path) -> tuple[queries.NoteRow, ...]:
    """The notes of the last hour, as the page shows them."""
    with queries.open_store(path) as connection:
        return queries.notes(connection, TERMINAL, NOW_UNIX_S - 3600.0, NOW_UNIX_S)


def hand_in(path: Path, body: dict[str, object]) -> None:
    """The message as the agent reads and stores it."""
    reading = parse("note", json.dumps(body).encode())
    assert isinstance(reading, Note) and reading.kind == "other", "the watch must not act on it"
    measure(path, "note", [reading])


def test_a_late_note_stands_at_the_time_it_speaks_of(store: Path) -> None:
    hand_in(store, dict(late_note_payload(NOW_UNIX_S, AT_UNIX_S, "shade-on", "grey sheet", None)))
    late, rain = stored_notes(store)
    assert (late.unix_s, late.told_unix_s, late.kind, late.text) == (
        AT_UNIX_S,
        NOW_UNIX_S,
        "shade-on",
        "grey sheet",
    )
    assert rain.kind == "rain"


def test_a_moved_note_takes_the_place_of_the_first(store: Path) -> None:
    (rain,) = stored_notes(store)
    hand_in(store, dict(late_note_payload(NOW_UNIX_S, AT_UNIX_S, "rain", None, rain.seq)))
    (moved,) = stored_notes(store)
    assert (moved.kind, moved.unix_s) == ("rain", AT_UNIX_S)


@pytest.mark.parametrize(
    "extra", [{"at": "noon"}, {"at": 5}, {"about": "lunch"}, {"other": 1}, {"replaces": "x"}]
)
def test_what_others_add_to_a_note_does_no_harm(store: Path, extra: dict[str, object]) -> None:
    measure(store, "note", [Note(unix_s=NOW_UNIX_S - 300.0, kind="moved", extra=extra)])  # type: ignore[arg-type]
    assert [(note.kind, note.unix_s) for note in stored_notes(store)][1] == ("moved", NOW_UNIX_S - 300.0)


@pytest.mark.parametrize(
    ("text", "unix_s"),
    [
        ("2026-07-18 13:06", AT_UNIX_S),
        (" 2026-07-18 13:06:30 ", AT_UNIX_S + 30.0),
        ("13:06", None),
        ("2026-02-30 10:00", None),
        ("2026-07-18T13:06+02:00", None),
        (None, None),
    ],
)
def test_times_are_read_as_the_clock_of_the_site(text: str | None, unix_s: float | None) -> None:
    assert from_field(text, MADRID) == unix_s


def test_a_time_is_read_as_it_was_written() -> None:
    assert from_field(field_text(AT_UNIX_S, MADRID), MADRID) == AT_UNIX_S


def test_alerts_are_proposed_as_labels() -> None:
    over = replace(REPEAK, unix_s=NOW_UNIX_S - 60.0, state="cleared")
    shade, repeak = proposed([SHADE, REPEAK, over], NOW_UNIX_S)
    assert (shade.cause, shade.start_unix_s, shade.end_unix_s) == ("overheat", SHADE.unix_s, NOW_UNIX_S)
    assert (repeak.cause, repeak.start_unix_s, repeak.end_unix_s) == ("mispoint", REPEAK.unix_s, over.unix_s)
    assert in_order((repeak, shade)) == (shade, repeak)


@pytest.mark.browser
@pytest.mark.mosquitto
def test_a_note_is_told_for_an_earlier_time(
    browser: Browser, serve: Serve, store: Path, mosquitto: Mosquitto, heard: Heard
) -> None:
    with visit(browser, f"{serve(store, mosquitto.port)}/day") as seen:
        page = seen.page
        page.get_by_text("A note for an earlier time").click()
        page.get_by_role("button", name="Shade is on").click()
        expect(page.locator("#day-told")).to_contain_text("Write an earlier time")
        page.get_by_label("When it was").fill("2026-07-18 13:06")
        page.get_by_role("button", name="Shade is on").click()
        _topic, body = heard()
        assert (body["kind"], body["about"], body["at"]) == ("other", "shade-on", "2026-07-18T11:06:00.000Z")
        expect(page.locator("#day-told")).to_contain_text("Delivered: 13:06:00 Shade is on")
        page.get_by_role("button", name="Move: 13:26:00 It rains").click()
        _topic, body = heard()
        assert (body["about"], body["replaces"]) == ("rain", stored_notes(store)[0].seq)
        assert seen.problems == []


@pytest.mark.browser
def test_labels_are_proposed_added_removed_and_saved(
    browser: Browser, serve: Serve, store: Path, tmp_path: Path
) -> None:
    with visit(browser, f"{serve(store)}/day", "desktop") as seen:
        page, lines = seen.page, seen.page.locator("#label-list li")
        expect(page.get_by_label("From, by the clock")).to_have_value("2026-07-18 09:00:00")
        page.get_by_role("button", name="Propose from the alerts").click()
        expect(lines).to_have_count(2)
        page.get_by_label("From, by the clock").fill("2026-07-18 10:00")
        page.get_by_label("To", exact=True).fill("2026-07-18 10:20")
        page.get_by_role("group", name="This span was").get_by_role("button", name="Rain").click()
        expect(lines.first).to_contain_text("10:00:00 – 10:20:00: Rain")
        page.get_by_role("button", name="Remove: 2026-07-18 12:52").click()
        expect(lines).to_have_count(2)
        page.reload()
        expect(lines).to_have_count(2)
        with page.expect_download() as download:
            page.get_by_role("button", name="Save labels.csv").click()
        saved = tmp_path / download.value.suggested_filename
        download.value.save_as(saved)
        labels = labels_from_csv(saved.read_text(), "labels.csv")
        assert [label.cause for label in labels] == ["rain", "mispoint"]
        lines.first.get_by_role("button").click()
        expect(lines).to_have_count(1)
        page.locator("#label-read").set_input_files(saved)
        expect(lines).to_have_count(2)
        assert seen.problems == []


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_the_forms_can_be_read(browser: Browser, serve: Serve, store: Path, size: str) -> None:
    address = serve(store)
    with visit(browser, f"{address}/day", size) as seen:
        expect(seen.page.locator("#day-figure .panel svg").first).to_be_visible()
        seen.page.get_by_text("A note for an earlier time").click()
        seen.page.get_by_role("button", name="Propose from the alerts").click()
        expect(seen.page.locator("#label-list li")).to_have_count(2)
        seen.page.wait_for_load_state("networkidle")
        check_looks(seen, address, SMALLEST_TARGET_PX)
