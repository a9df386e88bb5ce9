"""How the agent's own inputs fare, on the crew page: from the agent's own record of them."""

from pathlib import Path

import pytest
from dash import html
from playwright.sync_api import Browser, expect

from agent.inputs.collectors.frame import InputState
from agent.inputs.collectors.registry import MODULES
from agent.service.hearing import BROKER, REMARKS
from agent.store import reader
from dashboard import queries, words
from dashboard.pages.input_parts import input_name, input_states
from tests.dashboard.conftest import Serve
from tests.dashboard.looking import SIZES, check_looks, visit
from tests.dashboard.pages.test_crew_page import SMALLEST_TARGET_PX
from tests.dashboard.pages.test_crew_parts import said
from tests.dashboard.scenes import NOW_UNIX_S, SCENES, TERMINAL
from tests.dashboard.stores import tell, writing

ERROR = "http://192.168.1.2/status: no answer in time; is the device on, and is the url right?"
FAR = "the config's site is 14 km away; mend [site] where this is right"


def fine(name: str) -> InputState:
    """One that has worked for an hour."""
    state = InputState(name, NOW_UNIX_S - 7200.0)
    state.worked(1, None, NOW_UNIX_S - 3600.0)
    return state


def failing(name: str) -> InputState:
    """One that failed a quarter of an hour ago."""
    state = fine(name)
    state.failed(ERROR, NOW_UNIX_S - 900.0)
    return state


def far(name: str) -> InputState:
    """One with something to look at."""
    state = fine(name)
    state.worked(0, FAR, NOW_UNIX_S - 60.0)
    return state


TROUBLE = (fine("onewire transmitter"), failing("http modem"), fine("ups van"), far("gnss roof"))


def stored(folder: Path, *states: InputState) -> tuple[reader.InputState, ...]:
    """As the agent writes and the pages read them."""
    path = folder / "store.sqlite3"
    with writing(path) as writer:
        writer.save_inputs([one.as_json() for one in states])
    with queries.open_store(path) as connection:
        return reader.input_states(connection, TERMINAL)


def test_all_well_is_one_line(tmp_path: Path) -> None:
    part = input_states(stored(tmp_path, fine("ups van"), fine("http modem")), NOW_UNIX_S)
    assert said(part) == "All inputs that the agent reads itself work (2)."


def test_none_is_nothing(tmp_path: Path) -> None:
    assert stored(tmp_path) == ()
    assert said(input_states((), NOW_UNIX_S)) == ""


def test_what_is_wrong_is_said_and_the_rest_counted(tmp_path: Path) -> None:
    text = said(input_states(stored(tmp_path, *TROUBLE), NOW_UNIX_S))
    assert text.startswith(f"Web page of modem  does not work, for 15 min {ERROR}")
    assert f"GNSS receiver roof  needs a look {FAR}" in text
    assert text.endswith("The other inputs that the agent reads itself work (2).")
    assert "UPS" not in text


def test_one_that_works_again_is_no_trouble(tmp_path: Path) -> None:
    state = failing("http modem")
    state.worked(1, None, NOW_UNIX_S)
    assert isinstance(input_states(stored(tmp_path, state), NOW_UNIX_S), html.Div)
    assert ERROR not in said(input_states(stored(tmp_path, state), NOW_UNIX_S))


def test_one_that_has_not_answered_yet(tmp_path: Path) -> None:
    states = stored(tmp_path, InputState("line mast", NOW_UNIX_S - 30.0))
    assert said(input_states(states, NOW_UNIX_S)) == "Instrument mast  no answer yet, for 30 s"


def test_every_type_has_its_words() -> None:
    assert words.INPUT_KINDS.keys() == {*MODULES, "notify", BROKER, *REMARKS}
    assert input_name("notify command") == "Alerts by command"


@pytest.mark.browser
@pytest.mark.parametrize("size", SIZES)
def test_they_can_be_read(browser: Browser, serve: Serve, tmp_path: Path, size: str) -> None:
    path = tmp_path / "store.sqlite3"
    tell(path, SCENES["fine"])
    stored(tmp_path, *TROUBLE)
    address = serve(path)
    with visit(browser, address, size) as seen:
        expect(seen.page.locator("#states li")).to_have_count(2)
        expect(seen.page.locator("#states .fine-inputs")).to_have_text(
            "The other inputs that the agent reads itself work (2)."
        )
        check_looks(seen, address, SMALLEST_TARGET_PX)
