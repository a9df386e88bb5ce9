"""Speed of the dashboard: `python -m tests.bench.pages`.

Thirty days with a signal reading a second: milliseconds and kilobytes of each view at the server; a refresh
of the crew's page by ten viewers at once over HTTP; in Chromium, where there is one, slowed as a phone:
bytes, seconds and layout shift until a page shows its figures.
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
from typing import NamedTuple

import numpy as np
from playwright.sync_api import CDPSession, Page, sync_playwright

from agent.planning.compute import compute_plan
from agent.records import Situation
from agent.store.writer import StoreWriter
from dashboard.app import build_app
from dashboard.page_data.day import CHANNELS
from dashboard.pages.crew import NEWS
from dashboard.pages.day import NEWS as DAY_NEWS
from dashboard.settings import Settings
from tests.conftest import CHROMIUM_ARGUMENTS
from tests.dashboard.conftest import dashboards
from tests.dashboard.scenes import FIGURES, NOW_UNIX_S, SCENES, TERMINAL
from tests.plan.sample_job import job
from tests.processes import PATIENCE_S

DAYS = 30
SPANS_H = (2.0, 12.0, 24.0, 168.0, 720.0)
VIEWERS = 10
LINE_MBPS = 20.0
SLOWED_TIMES = 4
MARKS = {"/": "#graph-sun svg", "/plan": "#plan .answer", "/day": "#day-figure .panel svg"}
# Bytes over the wire of the page and of all that it loaded, and by how much what stood moved (CLS).
_COST = """() => new Promise((done) => {
  let shift = 0;
  const add = (one) => { shift += one.hadRecentInput ? 0 : one.value; };
  const observer = new PerformanceObserver((list) => list.getEntries().forEach(add));
  observer.observe({ type: "layout-shift", buffered: true });
  const loads = [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")];
  const bytes = loads.reduce((sum, one) => sum + one.transferSize, 0);
  setTimeout(() => done([bytes, shift]), 200);
})"""
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
    """Milliseconds and kilobytes of each span of the day page, compressed as it travels."""
    client = build_app(settings, None).server.test_client()
    headers = {"Host": "127.0.0.1", "Accept-Encoding": "gzip"}
    for hours in SPANS_H:
        address = f"{DAY_NEWS}?from={NOW_UNIX_S - hours * 3600.0:.0f}&to={NOW_UNIX_S:.0f}"
        times_ms, size = [], 0
        for _ in range(REPEATS):
            start_s = time.perf_counter()
            size = len(client.get(address, headers=headers).data)
            times_ms.append((time.perf_counter() - start_s) * 1000.0)
        print(f"day page over {hours:5.0f} h: {min(times_ms):4.0f} ms, refresh {size / 1000.0:4.1f} kB")


def refreshes(address: str) -> None:
    """Ten viewers that all ask at once for everything."""
    body = json.dumps({"terminal": TERMINAL, "digests": {}}).encode()
    headers = {"Content-Type": "application/json", "Accept-Encoding": "gzip"}

    def ask(_viewer: int) -> tuple[float, int]:
        request = urllib.request.Request(f"{address}{NEWS}", body, headers)
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
    """A phone's first open of each page, and again: bytes, seconds until it shows its figures, layout shift.

    The line has 20 Mbit/s and the processor is slowed four times, as a phone's.
    """
    executable = shutil.which("chromium")
    if executable is None:
        print("no chromium binary on the path: time until a page is usable not measured")
        return
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=CHROMIUM_ARGUMENTS)
        for path, mark in MARKS.items():
            context = browser.new_context(viewport={"width": 390, "height": 844})
            context.set_default_timeout(PATIENCE_S * 1000.0)
            page = context.new_page()
            slow_down(context.new_cdp_session(page))
            first, again = (opened(page, f"{address}{path}", mark) for _ in range(2))
            print(
                f"{path:10} in Chromium: first {first.bytes_kb:.0f} kB, {first.shown_s:.2f} s,"
                f" layout shift {first.shift:.2f}; again {again.bytes_kb:.0f} kB, {again.shown_s:.2f} s"
            )
            context.close()
        browser.close()


def slow_down(session: CDPSession) -> None:
    """A phone on a good line."""
    session.send("Network.enable")
    rate_bytes_s = LINE_MBPS * 1e6 / 8.0
    conditions = {
        "offline": False,
        "latency": 0,
        "downloadThroughput": rate_bytes_s,
        "uploadThroughput": rate_bytes_s,
    }
    session.send("Network.emulateNetworkConditions", conditions)
    session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED_TIMES})


class Opened(NamedTuple):
    """What one open of a page took."""

    bytes_kb: float
    shown_s: float
    shift: float


def opened(page: Page, address: str, mark: str) -> Opened:
    """Open the page and wait for its figures."""
    start_s = time.perf_counter()
    page.goto(address)
    page.locator(mark).first.wait_for()
    shown_s = time.perf_counter() - start_s
    page.wait_for_load_state("load")
    bytes_sent, shift = page.evaluate(_COST)
    return Opened(bytes_sent / 1000.0, shown_s, shift)


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
