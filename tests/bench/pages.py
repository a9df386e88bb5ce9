"""Speed of the dashboard: `python -m tests.bench.pages`.

Thirty days with a signal reading a second: milliseconds and kilobytes of each view at the server; a refresh
of the crew's page by ten viewers at once over HTTP; in Chromium, where there is one, the time until a page
shows its figures.
"""

import json
import platform
import shutil
import statistics
import tempfile
import time
import urllib.request
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np
from playwright.sync_api import sync_playwright

from agent.planning.compute import compute_plan
from agent.records import Situation
from agent.store.writer import StoreWriter
from dashboard.figures.day import day_figure
from dashboard.page_data.day import CHANNELS, day_data
from dashboard.settings import Settings
from dashboard.theme import DAY
from tests.conftest import CHROMIUM_ARGUMENTS
from tests.dashboard.conftest import dashboards
from tests.dashboard.scenes import FIGURES, NOW_UNIX_S, SCENES, TERMINAL
from tests.plan.sample_job import job

DAYS = 30
SPANS_H = (2.0, 12.0, 24.0, 168.0, 720.0)
VIEWERS = 10
REPEATS = 5


def situations() -> Iterator[Situation]:
    """One a minute."""
    rng = np.random.default_rng(1)
    for ago_min, esno_db in enumerate(rng.normal(12.0, 0.2, DAYS * 1440)):
        unix_s = NOW_UNIX_S - 60.0 * (DAYS * 1440 - 1 - ago_min)
        yield replace(SCENES["act"], unix_s=unix_s, figures={**FIGURES, "esno_db": float(esno_db)})


def fill(path: Path) -> None:
    """A store of thirty days; readings go in by the table, a message each would take an hour."""
    writer = StoreWriter.open(path, TERMINAL, NOW_UNIX_S)
    writer.save_plan(job(), compute_plan(job()), "invented")
    writer.add_events([], list(situations()), time.time() + 3600.0)
    rng = np.random.default_rng(2)
    seconds = NOW_UNIX_S - np.arange(DAYS * 86_400.0)[::-1]
    minutes = NOW_UNIX_S - 60.0 * np.arange(DAYS * 1440.0)[::-1]
    connection = writer.connection
    connection.execute("BEGIN")
    levels_db = rng.normal(12.0, 0.2, len(seconds)).tolist()
    rows = zip(range(len(seconds)), seconds.tolist(), levels_db, strict=True)
    connection.executemany(
        "INSERT INTO signal (seq, terminal, unix_s, received_unix_s, esno_db) VALUES (?1, ?2, ?3, ?3, ?4)",
        ((number, TERMINAL, unix_s, esno_db) for number, unix_s, esno_db in rows),
    )
    for channel in CHANNELS:
        values = rng.normal(30.0, 1.0, len(minutes)).tolist()
        connection.executemany(
            "INSERT INTO minute VALUES (?1, ?2, ?3, ?4, ?5, 60, 60 * ?6, ?6 - 0.3, ?6 + 0.3, ?6)",
            [
                (TERMINAL, channel.kind, channel.place, channel.field, minute_unix_s, value)
                for minute_unix_s, value in zip(minutes.tolist(), values, strict=True)
            ],
        )
    connection.execute("COMMIT")
    writer.close()


def views(settings: Settings) -> None:
    """Milliseconds and kilobytes of each span of the day page."""
    for hours in SPANS_H:
        times_ms = []
        for _ in range(REPEATS):
            start_s = time.perf_counter()
            data = day_data(settings, "", (NOW_UNIX_S - hours * 3600.0, NOW_UNIX_S))
            assert data is not None
            body = day_figure(data, DAY, True).to_json()
            times_ms.append((time.perf_counter() - start_s) * 1000.0)
        print(f"day page over {hours:5.0f} h: {min(times_ms):4.0f} ms, {len(body) / 1000.0:4.0f} kB")


def refresh_body(address: str) -> bytes:
    """What a browser posts for a refresh that has seen nothing yet."""
    with urllib.request.urlopen(f"{address}/_dash-dependencies") as answer:
        dependencies = json.load(answer)
    (poll,) = (one for one in dependencies if "contact.data" in one["output"])
    values = {"poll": 0, "url": "", "digests": {}, "theme": "day"}
    outputs = [
        {"id": name, "property": part}
        for name, part in (pair.rsplit(".", 1) for pair in poll["output"].strip(".").split("..."))
    ]
    parts = {key: [{**one, "value": values[one["id"]]} for one in poll[key]] for key in ("inputs", "state")}
    body = {"output": poll["output"], "outputs": outputs, "changedPropIds": ["poll.n_intervals"], **parts}
    return json.dumps(body).encode()


def refreshes(address: str) -> None:
    """Ten viewers that all ask at once for everything."""
    body = refresh_body(address)

    def ask(_viewer: int) -> tuple[float, int]:
        request = urllib.request.Request(
            f"{address}/_dash-update-component", body, {"Content-Type": "application/json"}
        )
        start_s = time.perf_counter()
        with urllib.request.urlopen(request) as answer:
            size = len(answer.read())
        return (time.perf_counter() - start_s) * 1000.0, size

    ask(0)
    alone_ms, size = min(ask(0) for _ in range(REPEATS))
    print(f"crew page, whole refresh, one viewer: {alone_ms:.0f} ms, {size / 1000.0:.0f} kB")
    with ThreadPoolExecutor(VIEWERS) as pool:
        times_ms = [took_ms for took_ms, _size in pool.map(ask, range(VIEWERS * REPEATS))]
    print(
        f"crew page, whole refresh, {VIEWERS} viewers at once: median {statistics.median(times_ms):.0f} ms,"
        f" slowest {max(times_ms):.0f} ms"
    )


def usable(address: str) -> None:
    """Seconds from the address typed to the figures shown, without and with the browser's cache."""
    executable = shutil.which("chromium")
    if executable is None:
        print("no chromium binary on the path: time until a page is usable not measured")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=CHROMIUM_ARGUMENTS)
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page = context.new_page()
        for path, mark in (("/", "#graph-sun .main-svg"), ("/day", "#day-figure .main-svg")):
            times_s = []
            for _ in range(REPEATS):
                start_s = time.perf_counter()
                page.goto(f"{address}{path}")
                page.locator(mark).first.wait_for()
                times_s.append(time.perf_counter() - start_s)
            print(f"{path:5} in Chromium: first {times_s[0]:.2f} s, again {min(times_s[1:]):.2f} s")
        browser.close()


def main() -> None:
    """Print the table."""
    print(f"{platform.processor() or platform.machine()}, Python {platform.python_version()}")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "store.sqlite3"
        fill(path)
        views(Settings(store=path, mqtt_host="127.0.0.1", mqtt_port=1))
        with dashboards() as serve:
            address = serve(path)
            refreshes(address)
            usable(address)


if __name__ == "__main__":
    main()
