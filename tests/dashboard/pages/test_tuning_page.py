"""The tuning page in a real browser: days, a moved number, what changes, and a new rules file."""

import re
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from agent.errors import UsageError
from agent.replay.replaying import replay_events, session_plan
from agent.replay.rules_file import read_rules
from agent.replay.sessions import BUNDLED, labelled_folders, read_head, read_session
from agent.watch.rules import BY_NAME
from dashboard import tuning_words, words
from dashboard.access.gate import gate_of
from dashboard.figures.tuning import curve_points, place_texts
from dashboard.page_data.tuning import Question, TuningData, accept, asked_days, own_days, tuning_data
from tests.dashboard.conftest import Serve, dashboards
from tests.dashboard.looking import SIZES, check_looks, visit
from tests.dashboard.scenes import SCENES
from tests.dashboard.stores import tell

# WCAG 2.2 success criterion 2.5.8.
SMALLEST_TARGET_PX = 24.0
DAY = "pampa-gusts"
DAY_TITLE = "Cattle fair at the crossroads"


def question(**changes: float) -> Question:
    """About the gusty day, with the re-peak threshold swept."""
    named = {name.replace("__", "."): value for name, value in changes.items()}
    return Question(
        folders=tuple(labelled_folders([DAY])), rules=None, changes=named, parameter="repeak.raise_db"
    )


@pytest.fixture(scope="module")
def changed() -> TuningData:
    """The gusty day with a threshold that leaves small gusts alone."""
    return tuning_data(question(repeak__raise_db=2.5))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the store lies, and accepted rules files go."""
    made = tmp_path_factory.mktemp("tuning")
    tell(made / "store.sqlite3", SCENES["fine"])
    return made


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    """A dashboard of that store."""
    with dashboards() as start:
        yield start(folder / "store.sqlite3")


def test_both_sides_say_what_a_replay_says(changed: TuningData, tmp_path: Path) -> None:
    """The engine itself, on the very session, with the defaults and with a rules file that has the number."""
    rules = tmp_path / "rules.toml"
    rules.write_text("[repeak]\nraise_db = 2.5\n")
    session = read_session(BUNDLED / DAY)
    plan = session_plan(session)
    for alerts, rule_file in ((changed.days[0].present, None), (changed.days[0].tried, rules)):
        events, _situation = replay_events(session, plan, read_rules(rule_file))
        raised = {(event.rule, event.unix_s) for event in events if event.state == "raised"}
        assert alerts and {(alert.rule, alert.start_unix_s) for alert in alerts} <= raised


def test_a_higher_threshold_never_finds_more(changed: TuningData) -> None:
    """Of the re-peak rule alone, whose threshold is all that differs along the sweep."""
    assert changed.tried.found <= changed.present.found
    found = [figures.found for _value, figures in changed.sweep]
    assert found[0] >= found[-1]
    values = [value for value, _figures in changed.sweep]
    assert values == sorted(values) and {0.2, 10.0} <= set(values)
    assert curve_points(changed.sweep)[0][1].episodes == changed.tried.episodes


def test_accepted_rules_are_a_new_file_that_the_agent_reads(tmp_path: Path) -> None:
    path = accept(question(repeak__raise_db=2.5), tmp_path, "calm.toml")
    rules = read_rules(path)
    assert rules.values["repeak.raise_db"].tolist() == [2.5]
    assert rules.values["repeak.clear_db"].tolist() == read_rules(None).values["repeak.clear_db"].tolist()
    before = path.read_bytes()
    with pytest.raises(UsageError, match="not overwritten"):
        accept(question(repeak__raise_db=3.0), tmp_path, "calm.toml")
    assert path.read_bytes() == before


@pytest.mark.parametrize("name", ["../up.toml", "/etc/up.toml", "no-ending", ".hidden.toml", "a b.toml", ""])
def test_a_rules_file_stays_in_its_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="no file name"):
        accept(question(repeak__raise_db=2.5), tmp_path, name)
    assert list(tmp_path.iterdir()) == []


def test_nothing_changed_is_nothing_to_accept(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="move a number first"):
        accept(question(), tmp_path, "same.toml")


def test_no_day_and_a_day_without_labels_are_said(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no day is chosen"):
        asked_days([], tmp_path)
    (tmp_path / "bare").mkdir()
    with pytest.raises(UsageError, match="labels"):
        asked_days(["bare"], tmp_path)


@pytest.mark.parametrize("name", ["/etc", "../..", "nowhere"])
def test_a_day_lies_in_the_jobs_folder(tmp_path: Path, name: str) -> None:
    with pytest.raises(UsageError, match="is no folder inside"):
        asked_days([name], tmp_path)


def test_own_recorded_days_are_listed_the_newest_first(tmp_path: Path) -> None:
    for number, name in enumerate((DAY, "quiet-dune")):
        shutil.copytree(BUNDLED / name, tmp_path / "days" / f"day-{number}")
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "session.toml").write_text("start = [")
    days = own_days(tmp_path)
    heads = {name: read_head(tmp_path / name) for name in days if name != "broken"}
    assert set(days) == {"days/day-0", "days/day-1", "broken"}
    assert [heads[name].start_unix_s for name in heads] == sorted(
        (head.start_unix_s for head in heads.values()), reverse=True
    )
    assert all(days[name].endswith(head.title) for name, head in heads.items())
    with pytest.raises(UsageError, match="broken"):
        asked_days(["broken"], tmp_path)
    assert asked_days(["days/day-0"], tmp_path) == ((tmp_path / "days" / "day-0").resolve(),)


def test_every_number_has_words_of_its_own() -> None:
    by_rule: dict[str, list[str]] = {}
    for name in BY_NAME:
        by_rule.setdefault(name.split(".")[0], []).append(tuning_words.parameter_text(name))
    for rule, found in by_rule.items():
        assert len(set(found)) == len(found) and not any("_" in text for text in found), rule


def test_values_that_come_out_the_same_stand_at_one_point(changed: TuningData) -> None:
    points = curve_points(changed.sweep)
    texts = place_texts([*points, points[0]])
    assert texts[0].split(", ").count(points[0][0]) == 2 and texts[-1] == ""


def take_days(page: Page, *titles: str) -> None:
    """Tick the days and have them computed."""
    for title in titles:
        page.get_by_role("group", name="Bundled days").get_by_role("button", name=title).click()
    page.get_by_role("button", name="Take these days").click()
    expect(page.get_by_role("heading", name="All days together")).to_be_visible()


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_tuning_can_be_read(browser: Browser, address: str, size: str) -> None:
    with visit(browser, f"{address}/tuning", size) as seen:
        take_days(seen.page, DAY_TITLE)
        seen.page.wait_for_load_state("networkidle")
        check_looks(seen, address, SMALLEST_TARGET_PX)


@pytest.mark.browser
def test_a_moved_number_shows_at_once_and_is_accepted(browser: Browser, address: str, folder: Path) -> None:
    with visit(browser, f"{address}/tuning", "desktop") as seen:
        page, result = seen.page, seen.page.locator("#tune-result")
        take_days(page, DAY_TITLE)
        expect(result).not_to_contain_text("not raised any more")
        page.get_by_role("spinbutton", name="Value").fill("2.5")
        page.get_by_role("spinbutton", name="Value").press("Enter")
        expect(result).to_contain_text("not raised any more")
        expect(page.locator("#tune-list")).to_contain_text("Re-peak the dish, raised from a loss of: 2.5 dB")
        page.get_by_label("Name of the new file").fill("calm-day.toml")
        page.get_by_role("button", name="Write the rules file").click()
        expect(page.locator("#tune-written")).to_contain_text('rules = "calm-day.toml"')
        assert read_rules(folder / "calm-day.toml").values["repeak.raise_db"].tolist() == [2.5]
        page.get_by_role("button", name="Write the rules file").click()
        expect(page.locator("#tune-written")).to_contain_text("not overwritten")
        page.get_by_role("button", name="Undo all").click()
        expect(result).not_to_contain_text("not raised any more")
        assert seen.problems == []


@pytest.mark.browser
def test_rules_of_the_job_are_listed_to_start_from(browser: Browser, address: str, folder: Path) -> None:
    """What lies beside them and is no rules file is not; nothing on the page says where the job lies."""
    (folder / "deaf.toml").write_text("[repeak]\nraise_db = 9.0\n")
    (folder / "job.toml").write_text('terminal = "van-1"\n')
    with visit(browser, f"{address}/tuning") as seen:
        page = seen.page
        rules = page.get_by_role("group", name="Rules to start from")
        expect(rules.get_by_role("button", name="job")).to_have_count(0)
        expect(rules.get_by_role("button", name="the rules in force")).to_have_attribute(
            "aria-pressed", "true"
        )
        rules.get_by_role("button", name="deaf").click()
        expect(rules.get_by_role("button", name="deaf")).to_have_attribute("aria-pressed", "true")
        take_days(page, DAY_TITLE)
        expect(page.get_by_role("spinbutton", name="Value")).to_have_value("9")
        expect(page.locator("body")).not_to_contain_text(str(folder))
    for name in ("deaf.toml", "job.toml"):
        (folder / name).unlink()


@pytest.mark.browser
def test_the_slide_and_other_rules_are_within_reach(browser: Browser, address: str) -> None:
    with visit(browser, f"{address}/tuning") as seen:
        page = seen.page
        take_days(page, DAY_TITLE)
        page.get_by_role("button", name="Path blocked").click()
        # Only this rule has such a number: its keys have taken the place of the first rule's.
        expect(page.get_by_role("button", name="so many short dips", exact=True)).to_be_visible()
        page.get_by_role("button", name="raised after so long", exact=True).click()
        expect(page.locator("#tune-reason")).to_contain_text("Default 0 s")
        page.get_by_label("Move it").fill("7200")
        expect(page.locator("#tune-list")).to_contain_text("Path blocked, raised after so long: 7200 s")
        expect(page.get_by_role("spinbutton", name="Value")).to_have_value("7200")


@pytest.mark.browser
def test_an_own_day_that_cannot_be_used_says_why(browser: Browser, address: str, folder: Path) -> None:
    (folder / "lost-day").mkdir()
    (folder / "lost-day" / "session.toml").write_text("")
    with visit(browser, f"{address}/tuning") as seen:
        own = seen.page.get_by_role("group", name="Your recorded days")
        own.get_by_role("button", name="lost-day").click()
        seen.page.get_by_role("button", name="Take these days").click()
        expect(seen.page.locator("#tune-said")).to_have_text(re.compile("^lost-day: has no labels.csv"))
    shutil.rmtree(folder / "lost-day")


@pytest.mark.browser
def test_a_guest_cannot_tune(browser: Browser, serve: Serve, folder: Path, tmp_path: Path) -> None:
    (tmp_path / "passcode").write_text("salt-pan-2026")
    address = serve(folder / "store.sqlite3", 1, "--passcode-file", str(tmp_path / "passcode"))
    link = gate_of(folder / "store.sqlite3", "salt-pan-2026").sign("guest", time.time() + 60.0)
    with visit(browser, f"{address}/enter?link={link}") as seen:
        seen.page.get_by_role("link", name="Tuning").click()
        expect(seen.page.locator(".tuning")).to_contain_text(words.READ_ONLY)
        expect(seen.page.locator(".tuning button")).to_have_count(0)
