"""Day, plan and terminals in a real browser, over a store that the agent's own writer wrote."""

import re
import time
from dataclasses import replace
from pathlib import Path

import pytest
from playwright.sync_api import Browser, expect

from agent.plan.present import capital
from agent.planning.compute import compute_plan
from agent.records import Note, Signal
from dashboard import words
from dashboard.access.gate import gate_of
from tests.dashboard.conftest import Serve
from tests.dashboard.looking import ALL_SIZES, SIZES, check_looks, visit
from tests.dashboard.scenes import NOW_UNIX_S, REPEAK, SCENES, SHADE, TERMINAL
from tests.dashboard.stores import AHEAD_S, measure, tell, writing
from tests.plan.sample_job import job

pytestmark = pytest.mark.browser

# WCAG 2.2 success criterion 2.5.8.
SMALLEST_TARGET_PX = 24.0
READY = {"day": "#day-figure .panel svg", "plan": "#plan .answer", "terminals": ".terminal"}

# Those that other tests look at; what Dash draws is ready when it is drawn.
MORE_READY = {"": ".verdict h1", "tuning": "#react-entry-point .tuning button"}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A morning of one terminal with a plan, another terminal that is urgent, a third that is silent."""
    path = tmp_path_factory.mktemp("store") / "store.sqlite3"
    with writing(path) as writer:
        writer.save_plan(job(), compute_plan(job()), "invented")
    readings = [Signal(unix_s=NOW_UNIX_S - 3600.0 + second, esno_db=12.0) for second in range(3600)]
    measure(path, "signal", readings)
    measure(path, "note", [Note(unix_s=NOW_UNIX_S - 1800.0, kind="other", text="Cable drum moved")])
    later_wall_unix_s = time.time() + AHEAD_S
    tell(path, SCENES["urgent"], terminal="van-2", written_wall_unix_s=later_wall_unix_s)
    tell(path, SCENES["fine"], terminal="van-3", written_wall_unix_s=NOW_UNIX_S)
    tell(path, SCENES["act"], events=[SHADE, REPEAK], written_wall_unix_s=later_wall_unix_s + 1.0)
    return path


@pytest.fixture(scope="module")
def address(module_serve: Serve, store: Path) -> str:
    """The dashboard of that store."""
    return module_serve(store)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("page", READY)
def test_every_page_can_be_read(browser: Browser, address: str, page: str, size: str) -> None:
    with visit(browser, f"{address}/{page}", size) as seen:
        expect(seen.page.locator(READY[page]).first).to_be_visible()
        seen.page.wait_for_load_state("networkidle")
        check_looks(seen, address, SMALLEST_TARGET_PX)


# As somebody reads who has set the browser's text to twice its size.
TWICE_AS_LARGE = "document.documentElement.style.fontSize = '225%'"


@pytest.mark.parametrize("page", [*READY, *MORE_READY])
def test_every_page_fits_every_screen(browser: Browser, address: str, page: str) -> None:
    """WCAG 2.2, success criteria 1.4.4 (text at 200 %) and 1.4.10 (320 px wide), lying, in forced colours."""
    with visit(browser, f"{address}/{page}", "narrow") as seen:
        expect(seen.page.locator({**READY, **MORE_READY}[page]).first).to_be_visible()
        seen.page.wait_for_load_state("networkidle")
        check_looks(seen, address, SMALLEST_TARGET_PX)
        seen.page.emulate_media(forced_colors="active", reduced_motion="reduce")
        assert seen.overflow_px() == 0
        seen.page.evaluate(TWICE_AS_LARGE)
        assert seen.overflow_px() == 0
        width, height = ALL_SIZES["landscape"]
        seen.page.set_viewport_size({"width": width, "height": height})
        assert seen.overflow_px() == 0
        assert seen.problems == []


@pytest.mark.parametrize("page", [*READY, *MORE_READY])
def test_nothing_moves_while_a_page_opens(browser: Browser, address: str, page: str) -> None:
    """Cumulative layout shift of 0.1 is what passes as good (web.dev, Core Web Vitals)."""
    with visit(browser, f"{address}/{page}") as seen:
        expect(seen.page.locator({**READY, **MORE_READY}[page]).first).to_be_visible()
        assert seen.layout_shift() <= 0.1


def test_the_terminal_stays_when_the_page_changes(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/terminals") as seen:
        seen.page.get_by_role("link", name="van-1").click()
        for name, mark in (
            ("Day", ".day"),
            ("Plan", ".plan"),
            ("Terminals", ".terminals"),
            ("Tuning", ".tuning"),
            ("Crew", "#crew"),
        ):
            seen.page.get_by_role("navigation").get_by_role("link", name=name).click()
            expect(seen.page.locator(mark)).to_be_visible()
            expect(seen.page).to_have_title(f"{name} · peakshade")
            assert seen.page.url.endswith("?terminal=van-1")
        expect(seen.page.locator("#cover")).to_be_hidden()
        # Madrid is UTC+2 in July.
        expect(seen.page.locator(".times")).to_have_text("13:36 at the site · 11:36 UTC")


def test_terminals_stand_by_urgency_and_open_their_crew_page(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/terminals") as seen:
        names = seen.page.locator(".terminal strong")
        expect(names).to_have_text(["van-2", "van-3", "van-1"])
        expect(seen.page.locator(".terminal").nth(1)).to_contain_text("Silent")
        names.first.click()
        expect(seen.page.locator(".verdict h1")).to_have_text(SCENES["urgent"].verdict)
        expect(seen.page.locator(".masthead")).to_contain_text("van-2")


def test_day_opens_with_the_jobs_hours_and_moves(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/day", "desktop") as seen:
        said = seen.page.locator("#day-said")
        # Madrid is UTC+2 in July.
        expect(said).to_have_text("2026-07-18 09:00 to 2026-07-18 19:00 at the site (07:00 to 17:00 UTC)")
        current = seen.page.get_by_role("navigation", name="Span of time").locator("[aria-current]")
        expect(current).to_have_text("The job")
        seen.page.get_by_role("link", name="2 hours", exact=True).click()
        expect(current).to_have_text("2 hours")
        expect(said).to_contain_text("2026-07-18 11:36 to 2026-07-18 13:36")
        seen.page.get_by_role("link", name="Closer").click()
        expect(current).to_have_count(0)
        expect(said).to_contain_text("2026-07-18 12:06 to 2026-07-18 13:06")
        seen.page.get_by_role("link", name="Later").click()
        expect(said).to_contain_text("2026-07-18 12:36 to 2026-07-18 13:36")


def test_dragging_in_the_figure_opens_a_shorter_span(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/day", "desktop") as seen:
        expect(seen.page.locator("#day-said")).to_contain_text("09:00 to")
        box = seen.page.locator("#day-figure .plot").first.bounding_box()
        assert box is not None
        middle_px = box["y"] + box["height"] / 2.0
        seen.page.mouse.move(box["x"] + box["width"] * 0.4, middle_px)
        seen.page.mouse.down()
        seen.page.mouse.move(box["x"] + box["width"] * 0.5, middle_px, steps=8)
        seen.page.mouse.up()
        # From 40 % to 50 % of ten hours after nine.
        expect(seen.page.locator("#day-said")).to_contain_text(re.compile(r" 1[23]:\d\d to .* 1[34]:\d\d at"))


def test_alerts_open_to_their_evidence_and_numbers(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/day") as seen:
        seen.page.locator("#day-alerts summary", has_text="Re-peak the dish").click()
        opened = seen.page.locator("#day-alerts details[open]")
        expect(opened).to_contain_text(REPEAK.evidence[0])
        expect(opened).to_contain_text("unexplained_db")
        expect(seen.page.locator("#day-notes")).to_contain_text("13:06:00 Remark: Cable drum moved")


def test_a_tap_in_a_picture_is_the_time_of_a_note(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/day?span=2h") as seen:
        plot = seen.page.locator("#day-figure .plot").first
        box = plot.bounding_box()
        assert box is not None
        plot.click(position={"x": box["width"] / 2.0, "y": 20.0})
        expect(seen.page.get_by_label("When it was")).to_have_value(re.compile(r"2026-07-18 12:3[56]:\d\d"))


def test_the_lines_are_explored_behind_a_link(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/day?span=2h") as seen:
        assert not [url for url in seen.requests if "plotly" in url]
        seen.page.get_by_role("link", name="Explore the lines").click()
        expect(seen.page.locator("#explore-figure .main-svg").first).to_be_visible()
        expect(seen.page.locator("#explore-figure")).to_contain_text("Signal (dB)")
        seen.page.wait_for_load_state("networkidle")
        check_looks(seen, address, SMALLEST_TARGET_PX)


def test_plan_shows_what_was_computed(browser: Browser, address: str) -> None:
    plan = compute_plan(job())
    with visit(browser, f"{address}/plan") as seen:
        shown = seen.page.locator("#plan")
        expect(shown).to_contain_text(capital(plan.verdict.reason))
        expect(shown).to_contain_text(f"{len(plan.findings)} finding")
        expect(shown).to_contain_text("July alone: rain over")
        expect(shown).to_contain_text(f"{plan.pointing.elevation_deg:.1f}°")
        expect(shown).to_contain_text(plan.safety.cautions[0])
        expect(shown).to_contain_text(plan.heat.reason)
        answer = seen.page.request.get(f"{address}/plan.pdf")
        assert answer.ok and answer.body().startswith(b"%PDF")


def test_unknown_page_and_missing_plan_are_said(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/nowhere") as seen:
        expect(seen.page.locator("#page")).to_contain_text("There is no such page")
    for page in ("", "day", "plan", "tuning"):
        with visit(browser, f"{address}/{page}?terminal=van-9") as seen:
            expect(seen.page.locator("#page")).to_have_text(
                "No terminal van-9 is known here. Known: van-1, van-2, van-3."
            )
    with visit(browser, f"{address}/plan?terminal=van-2") as seen:
        expect(seen.page.locator("#plan")).to_contain_text("No plan is stored")


def test_store_with_no_terminal_is_said_on_every_page(browser: Browser, serve: Serve, tmp_path: Path) -> None:
    empty = tmp_path / "empty.sqlite3"
    with writing(empty):
        pass
    address = serve(empty)
    for page, said in (("day", "Nothing is stored"), ("plan", "No plan"), ("terminals", "not yet written")):
        with visit(browser, f"{address}/{page}") as seen:
            expect(seen.page.locator("main")).to_contain_text(said)
            assert seen.problems == []


@pytest.mark.parametrize("page", READY)
def test_a_missing_store_is_said(browser: Browser, serve: Serve, tmp_path: Path, page: str) -> None:
    with visit(browser, f"{serve(tmp_path / 'none.sqlite3')}/{page}") as seen:
        expect(seen.page.locator("main")).to_contain_text("cannot read the store")
        assert seen.problems == []


def test_day_follows_what_comes_in_and_keeps_what_is_open(
    browser: Browser, serve: Serve, tmp_path: Path
) -> None:
    path = tmp_path / "store.sqlite3"
    tell(path, SCENES["act"], events=[REPEAK])
    with visit(browser, f"{serve(path)}/day") as seen:
        seen.page.locator("#day-alerts summary").click()
        measure(path, "note", [Note(unix_s=NOW_UNIX_S - 5.0, kind="moved")])
        expect(seen.page.locator("#day-notes")).to_contain_text("Terminal moved")
        expect(seen.page.locator("#day-alerts details[open]")).to_have_count(1)


def test_clock_of_a_played_day_runs_at_its_speed(browser: Browser, serve: Serve, tmp_path: Path) -> None:
    """The page shows the agent's time, whatever the computer's clock says."""
    played = tmp_path / "played.sqlite3"
    tell(played, replace(SCENES["fine"], unix_s=NOW_UNIX_S + 3600.0))
    with visit(browser, serve(played, 1, "--speed", "120", "--terminal", TERMINAL)) as seen:
        expect(seen.page.locator(".times")).to_contain_text("12:36 UTC")


def test_passcode_opens_the_page_for_a_phone(
    browser: Browser, serve: Serve, store: Path, tmp_path: Path
) -> None:
    (tmp_path / "passcode").write_text("salt-pan-2026\n")
    address = serve(store, 1, "--passcode-file", str(tmp_path / "passcode"))
    with visit(browser, address) as seen:
        check_looks(seen, address, SMALLEST_TARGET_PX)
        seen.page.get_by_label("Passcode").fill("salt-pan-2026")
        seen.page.get_by_role("button", name="Enter").click()
        expect(seen.page.locator(".verdict h1")).to_have_text(SCENES["act"].verdict)
        assert seen.problems == []


def test_guest_link_looks_and_cannot_tell(
    browser: Browser, serve: Serve, store: Path, tmp_path: Path
) -> None:
    (tmp_path / "passcode").write_text("salt-pan-2026")
    address = serve(store, 1, "--passcode-file", str(tmp_path / "passcode"))
    link = gate_of(store, "salt-pan-2026").sign("guest", time.time() + 60.0)
    with visit(browser, f"{address}/enter?link={link}") as seen:
        expect(seen.page.locator(".verdict h1")).to_have_text(SCENES["act"].verdict)
        expect(seen.page.get_by_role("heading", name="Alerts", exact=True)).to_be_visible()
        for name in ("It rains", "Send remark", "Seen"):
            expect(seen.page.get_by_role("button", name=name, exact=True)).to_be_hidden()
        # Whoever brings the buttons back is refused by the server.
        seen.page.add_style_tag(content=".for-guest .tell { display: block !important; }")
        seen.page.get_by_role("button", name="It rains").click()
        expect(seen.page.locator(".side .delivery")).to_have_text(words.READ_ONLY)
        assert "link=" not in seen.page.url


def test_paper_shows_all_of_it_in_black(browser: Browser, address: str) -> None:
    """What is folded is open, and figures fit A4 (210 mm less margins at 96 px an inch)."""
    paper_px = round((210.0 - 2 * 12.0) / 25.4 * 96.0)
    with visit(browser, f"{address}/day", "desktop") as seen:
        page = seen.page
        expect(page.locator("#day-alerts details")).to_have_count(2)
        page.set_viewport_size({"width": paper_px, "height": 1000})
        page.emulate_media(media="print")
        page.evaluate("window.dispatchEvent(new Event('beforeprint'))")
        expect(page.locator("#day-alerts details[open]")).to_have_count(2)
        expect(page.locator("button:visible")).to_have_count(0)
        assert seen.overflow_px() == 0
        assert seen.weak_texts() == {}
        page.emulate_media(media="screen")
        page.evaluate("window.dispatchEvent(new Event('afterprint'))")
        expect(page.locator("#day-alerts details[open]")).to_have_count(0)
        assert seen.problems == []
