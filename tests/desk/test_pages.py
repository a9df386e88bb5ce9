"""The pages of a desk: terminals by urgency, found and filtered; who sees which of them."""

import re
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace

import pytest
from flask.testing import FlaskClient

from agent.config_desk import DeskDatabase
from agent.forward.batch import Batch
from agent.store.desk.opening import open_for_ingest, pool_of
from agent.store.desk.writer import DeskWriter
from dashboard.access import gate as gate_module
from dashboard.access.gate import Gate, Role, make_gate
from dashboard.access.request_guard import ENTER, UPDATE
from dashboard.app import build_app
from dashboard.pages.crew_answers import TELL
from dashboard.pages.terminals import MOST_LINES
from dashboard.settings import DESK_SILENT_AFTER_S, Settings
from dashboard.words import READ_ONLY
from tests.dashboard.scenes import SCENES
from tests.desk.postgres import Postgres

FINE, MISPOINTED = SCENES["fine"], SCENES["act"]
SALT = b"salt of a test.."
COUNT = MOST_LINES + 20


@pytest.fixture(scope="module")
def ingested(postgres: Postgres) -> Iterator[DeskDatabase]:
    """Many terminals, of which one wants its dish turned and one has been seen."""
    database = postgres.database()
    with closing(open_for_ingest(database)) as connection:
        writer = DeskWriter(connection)
        fine = [Batch(terminal=f"van-{place}", seq=1, situation=FINE) for place in range(COUNT)]
        seen = replace(MISPOINTED, alerts=tuple(replace(one, acknowledged=True) for one in MISPOINTED.alerts))
        wanting = [
            Batch(terminal="truck-1", seq=1, situation=MISPOINTED),
            Batch(terminal="truck-2", seq=1, situation=seen),
        ]
        writer.ingest([*fine, *wanting])
    yield database
    pool_of(database).close()


@pytest.fixture
def told(ingested: DeskDatabase) -> DeskDatabase:
    """All heard just now, but one."""
    with closing(open_for_ingest(ingested)) as connection:
        connection.execute(
            "UPDATE situation SET written_wall_unix_s ="
            " %s - CASE terminal WHEN 'van-7' THEN 900.0 ELSE 0.0 END",
            (time.time(),),
        )
    return ingested


def settings_of(database: DeskDatabase) -> Settings:
    return Settings(store=database, mqtt_host="", mqtt_port=1, desk=True, silent_after_s=DESK_SILENT_AFTER_S)


@pytest.fixture
def desk(told: DeskDatabase) -> FlaskClient:
    """On the desk's own computer."""
    return build_app(settings_of(told), None).server.test_client()


def lines(page: str) -> list[str]:
    """The terminals' names in their order."""
    return re.findall(r'<p class="who"><strong>([^<]*)', page)


def test_the_most_urgent_come_first_with_since_when_seen_and_last_heard(desk: FlaskClient) -> None:
    page = desk.get("/terminals").text
    assert lines(page)[:4] == ["van-7", "truck-1", "truck-2", "van-0"]
    assert len(lines(page)) == MOST_LINES
    assert f"{COUNT + 2 - MOST_LINES} more" in page
    first = page[page.index("truck-1") : page.index("truck-2")]
    assert re.search(r"since .*, not seen; last heard ", first)
    assert re.search(r"since .*, seen; last heard ", page[page.index("truck-2") :])
    assert "Nothing heard for 15" in page[page.index(">van-7<") :]


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("find=TRUCK", ["truck-1", "truck-2"]),
        ("find=van-11", ["van-11", *(f"van-11{place}" for place in range(10))]),
        ("level=silent", ["van-7"]),
        ("level=act&find=2", ["truck-2"]),
        ("level=urgent", []),
        ("level=nonsense&find=van-7", ["van-7", *(f"van-7{place}" for place in range(10))]),
    ],
)
def test_terminals_are_found_by_name_and_by_level(desk: FlaskClient, asked: str, found: list[str]) -> None:
    page, news = (desk.get(f"{path}?{asked}").text for path in ("/terminals", "/terminals/list"))
    assert lines(page) == lines(news) == found


def test_what_is_sought_is_text_and_nothing_else(desk: FlaskClient) -> None:
    page = desk.get("/terminals", query_string={"find": '"><script>alert(1)</script>'}).text
    assert "<script>alert" not in page


@pytest.mark.parametrize("path", ["/", "/day", "/plan"])
def test_a_terminals_pages_are_read_only(desk: FlaskClient, path: str) -> None:
    page = desk.get(f"{path}?terminal=truck-1").text
    assert 'class="for-guest"' in page
    assert "truck-1" in page
    assert "Tuning" not in page
    assert desk.get("/tuning").status_code == 403


Enter = Callable[[Role, str | None], FlaskClient]


@pytest.fixture
def enter(told: DeskDatabase, monkeypatch: pytest.MonkeyPatch) -> Enter:
    """A browser that has opened a link."""
    monkeypatch.setitem(gate_module.COST, "n", 2**4)
    gate: Gate = make_gate("salt-pan-2026", SALT)
    server = build_app(settings_of(told), gate).server

    def client(role: Role, terminal: str | None) -> FlaskClient:
        browser = server.test_client()
        link = gate.sign(role, time.time() + 60.0, terminal)
        assert browser.get(ENTER, query_string={"link": link}).status_code == 302
        return browser

    return client


def news_of(client: FlaskClient, terminal: str | None) -> int:
    return client.post("/crew/news", json={"terminal": terminal, "digests": {}}).status_code


def figure_of(client: FlaskClient, search: str) -> int:
    """As the lines to explore are asked for."""
    state = [{"id": "url", "property": "search", "value": search}]
    body = {"output": "explore-figure.figure", "inputs": [], "state": state, "changedPropIds": []}
    return client.post(UPDATE, json=body).status_code


def test_a_link_of_one_terminal_opens_its_pages_alone(enter: Enter) -> None:
    crew = enter("crew", "truck-1")
    assert crew.get("/").location == "/?terminal=truck-1"
    for path in ("/", "/day", "/plan"):
        assert crew.get(f"{path}?terminal=truck-1").status_code == 200
        assert crew.get(f"{path}?terminal=van-1").status_code == 403
        assert crew.get(f"{path}?terminal=truck-1&terminal=van-1").status_code == 403
    for path in ("/terminals", "/terminals/list", "/tuning"):
        assert crew.get(path).status_code == 403
    assert [news_of(crew, name) for name in ("truck-1", "van-1", None)] == [200, 403, 403]
    assert [figure_of(crew, one) for one in ("?terminal=van-1", "")] == [403, 403]
    assert figure_of(crew, "?terminal=truck-1") != 403
    for path in ("/day/news", "/day/explore"):
        answers = [crew.get(f"{path}{search}") for search in ("?terminal=truck-1", "?terminal=van-1", "")]
        assert [one.status_code for one in answers] == [200, 403, 403]
    page = crew.get("/?terminal=truck-1").text
    assert "Terminals" not in page
    assert "van-" not in page


def test_a_producer_sees_the_first_page_and_the_desk_all(enter: Enter) -> None:
    producer, desk = enter("guest", "truck-1"), enter("crew", None)
    assert producer.get("/?terminal=truck-1").status_code == 200
    assert producer.get("/day?terminal=truck-1").status_code == 403
    assert figure_of(producer, "?terminal=truck-1") == 403
    assert desk.get("/terminals").status_code == 200
    assert news_of(desk, "van-1") == 200


def test_nobody_tells_a_terminal_anything_from_a_desk(enter: Enter) -> None:
    told = {"terminal": "truck-1", "key": {"type": "note", "kind": "rain"}}
    assert enter("crew", "truck-1").post(TELL, json=told).status_code == 403
    assert enter("crew", None).post(TELL, json=told).json == {"said": READ_ONLY, "delivered": False}
