"""The page: whole in itself, well formed, safe with any text, and nothing measured is called zero."""

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from agent.link_plan import SunPass
from agent.records import Note
from agent.report.findings import findings
from agent.report.page import page_html
from agent.report.svg import BLUE, INK, QUIET, RED, VIOLET
from agent.report.verdict import verdict
from tests.dashboard.contrast import contrast_ratio
from tests.dashboard.looking import check_looks, visit
from tests.report.days import CAUTION, bundled_review, bundled_session, cut, reviewed

DAYS = ("salt-pan-summer", "quiet-poor-sensors")
VOID = {"meta", "link", "br", "hr", "img", "input"}
LOADING = {"src", "href", "srcset", "poster", "data", "action", "xlink:href"}


@cache
def page(*names: str) -> str:
    """The page of these days."""
    return page_html([bundled_review(name) for name in names], "0123456789abcdef", "0.0")


class Structure(HTMLParser):
    """Collects what is wrong with the nesting, what would be loaded, and the headings."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.wrong: list[str] = []
        self.loads: list[str] = []
        self.tags: set[str] = set()
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.loads += [f"{tag} {name}" for name, _ in attrs if name in LOADING]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.add(tag)
        self.loads += [f"{tag} {name}" for name, _ in attrs if name in LOADING]

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.wrong.append(tag)


@pytest.mark.parametrize("names", [DAYS[:1], DAYS[1:], DAYS], ids="+".join)
def test_the_page_is_well_formed_and_loads_nothing(names: tuple[str, ...]) -> None:
    text = page(*names)
    structure = Structure(text)
    assert text.startswith("<!doctype html>")
    assert (structure.wrong, structure.open, structure.loads) == ([], [], [])
    assert not structure.tags & {"script", "link", "iframe", "object", "img"}
    without_names = text.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert re.findall(r"https?:|url\(|@import|//[a-z]", without_names) == []


def test_invented_data_say_so() -> None:
    assert "invented data" in page(*DAYS[:1])
    recorded = replace(bundled_review(DAYS[0]), provenance="recorded")
    assert "invented" not in page_html([replace(recorded, story="")], "0", "0").split("</style>")[1]


def test_what_was_not_measured_is_said_to_be_so() -> None:
    """This modem reports a quality figure alone, so there is nothing to put beside the plan's Es/N0."""
    text = page("quiet-poor-sensors")
    assert "no Es/N0" in text
    row = re.search(r"<td>signal</td><td>(.*?)</td>", text)
    assert row is not None
    assert row.group(1) == "not measured"
    assert "nan" not in text.replace("provenance", "").lower().split("</style>")[1]


def test_any_text_of_the_crew_is_shown_as_text() -> None:
    hostile = '<script>alert("x")</script>&amp;'
    session = cut(bundled_session(DAYS[0]), 3000)
    note = Note(unix_s=session.readings[-1].unix_s, kind="other", text=hostile, by=hostile)
    session = replace(session, title=hostile, story=hostile, readings=[*session.readings, note])
    session = replace(session, end_unix_s=session.end_unix_s + 60.0)
    text = page_html([reviewed(hostile, session)] * 2, "0", "0")
    assert "script" not in Structure(text).tags
    assert text.count("&lt;script&gt;alert(&#34;x&#34;)&lt;/script&gt;&amp;amp;") >= 6


def test_several_days_stand_side_by_side() -> None:
    text = page(*DAYS)
    assert text.count("<article>") == 2
    assert text.index('class="comparison"') < text.index("<article>")
    assert 'class="comparison"' not in page(*DAYS[:1])


def test_safety_of_the_plan_and_times_in_utc_are_on_it() -> None:
    text = page(*DAYS[:1])
    assert CAUTION in text
    # The session begins at 08:00 UTC, which is 10:00 in Madrid's summer.
    assert "10:00 to 15:00 at the site" in text
    assert "08:00 UTC to 13:00 UTC" in text


def test_a_sun_pass_of_the_plan_is_marked() -> None:
    day = bundled_review(DAYS[0])
    start = day.span.start_unix_s
    one = SunPass(
        start_unix_s=start + 3600.0, peak_unix_s=start + 4000.0, end_unix_s=start + 7200.0, depth_db=3.0
    )
    text = page_html([replace(day, plan=replace(day.plan, sun_passes=(one,)))], "0", "0")
    assert ">sun pass</text>" in text


def test_the_verdict_is_three_lines_and_ends_with_the_first_finding() -> None:
    day = bundled_review(DAYS[0])
    found = findings(day)
    lines = verdict(day, found)
    assert len(lines) == 3
    assert lines[2] == found[0]
    assert verdict(day, ())[2] == "Nothing in these figures asks for a change."


@pytest.mark.parametrize("colour", [INK, QUIET, BLUE, RED, VIOLET])
def test_inks_on_white(colour: str) -> None:
    """WCAG 2.2, success criteria 1.4.6 (text, 7:1) and 1.4.11 (graphics, 3:1)."""
    rgb = (int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16))
    assert contrast_ratio(rgb, (255, 255, 255)) >= (7.0 if colour in (INK, QUIET) else 3.0)


@pytest.mark.browser
@pytest.mark.parametrize("size", ["phone", "desktop"])
def test_the_page_in_a_browser(browser: Browser, tmp_path: Path, size: str) -> None:
    path = tmp_path / "report.html"
    path.write_text(page(*DAYS), encoding="utf-8")
    with visit(browser, path.as_uri(), size) as seen:
        check_looks(seen, path.as_uri(), 0.0)
