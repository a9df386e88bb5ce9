"""The evening's page: the report of one day or several, its files, and a summary to send."""

import io
import zipfile
from collections.abc import Sequence
from typing import cast

from dash import html
from dash.development.base_component import Component
from flask import Flask, Response, current_app, jsonify, request, send_file, send_from_directory

from agent.store.opening import StoreError
from dashboard import hand_queries, hand_words, queries, words
from dashboard.access.request_guard import current_role
from dashboard.page_data.terminal import site_zone, whose_page
from dashboard.pages import shell
from dashboard.pages.aria import with_attributes
from dashboard.pages.markup import to_html
from dashboard.report_runs import Run, Runs, folder_of
from dashboard.settings import current_settings

PATH = "/report"
STATE, MAKE, FILE = "/report/state", "/report/make", "/report/file"
SCRIPT = "report.js"
RUNS_KEY = "PEAKSHADE_REPORTS"
DAYS_SHOWN = 31
WHOLE = ("report.html", "report.pdf", "summary.txt")
PACKED = {"tables-csv.zip": "*.csv", "tables-parquet.zip": "*.parquet"}


def page() -> Response:
    """The days to choose from, and the latest report."""
    whose = whose_page(current_settings(), request.args.get("terminal"))
    if whose.refusal is not None or whose.terminal is None:
        return shell.refused(PATH, whose.refusal or words.NO_DATA_YET)
    days = stored_days(whose.terminal)
    parts = [
        html.H1(words.PAGES[PATH]),
        _form(days) if days else html.P(words.NO_DATA_YET),
        with_attributes(html.P(id="report-said", role="status"), {"data-lost": words.COVER["page"]}),
        html.Progress(id="report-progress", max="1", value="0", hidden=True),
        html.Div(_latest(whose.terminal), id="report-result"),
    ]
    return shell.answer(
        PATH, whose, [html.Div(parts, className="report")], shell.Extras(head=shell.script(SCRIPT))
    )


def stored_days(terminal: str) -> tuple[str, ...]:
    """The days of which the store knows, by the calendar of the site, the newest first."""
    try:
        with queries.open_store(current_settings().store) as connection:
            zone = site_zone(queries.job(connection, terminal))
            return hand_queries.days(connection, terminal, zone, DAYS_SHOWN)
    except StoreError:
        return ()


def _form(days: Sequence[str]) -> Component:
    keys = [
        with_attributes(html.Button(day, value=day), {"aria-pressed": "true" if day == days[0] else "false"})
        for day in days
    ]
    return html.Section(
        [
            html.H2(hand_words.REPORT_DAYS),
            html.P(hand_words.REPORT_HINT, className="hint"),
            html.Div(html.Div(keys, id="report-days", className="keys small"), className="toggles"),
            html.Button(hand_words.REPORT_MAKE, id="report-make", className="wide"),
        ],
        className="sheet tell",
    )


def make() -> Response:
    """Begin the report of the days that were chosen."""
    asked = request.get_json()
    terminal = asked["terminal"]
    if current_role() != "crew":
        return jsonify(said=words.READ_ONLY)
    chosen = [day for day in stored_days(terminal) if day in asked["days"]]
    if not chosen:
        return jsonify(said=hand_words.REPORT_NO_DAY)
    begun = _runs().start(current_settings(), terminal, chosen)
    return jsonify(said="" if begun else hand_words.REPORT_UNDER_WAY)


def state() -> Response:
    """How far the latest report is; its files where it is done."""
    terminal = request.args.get("terminal", "")
    run = _runs().runs.get(terminal)
    if run is not None and run.running:
        said = hand_words.REPORT_STEP.format(what=run.what) if run.what else hand_words.REPORT_STARTS
        return jsonify(running=True, said=said, done=run.done, of=run.of + 1)
    return jsonify(running=False, said=_trouble(run), result=to_html(_latest(terminal)))


def _trouble(run: Run | None) -> str:
    """What the command complained of; it ends with 1 where the report proposes a change."""
    failed = run is not None and run.process.returncode not in (0, 1)
    return hand_words.REPORT_FAILED.format(why=" ".join(run.said)) if run is not None and failed else ""


def _latest(terminal: str) -> list[Component]:
    folder = folder_of(current_settings(), terminal)
    if not (folder / "summary.txt").is_file():
        return []
    text = (folder / "summary.txt").read_text(encoding="utf-8")
    there = [name for name in WHOLE if (folder / name).is_file()]
    there += [name for name, pattern in PACKED.items() if any(folder.glob(pattern))]
    files = [
        html.Li(
            html.A(hand_words.REPORT_FILES[name], href=f"{FILE}?{_query(terminal, name)}", className="print")
        )
        for name in there
    ]
    keys = [html.Button(hand_words.SHARE, id="report-share"), html.Button(hand_words.COPY, id="report-copy")]
    return [
        html.Section(
            [
                html.H2(hand_words.REPORT_SUMMARY),
                html.Pre(text, id="report-summary"),
                html.Div(keys, className="keys"),
                with_attributes(
                    html.P(id="report-copied", role="status"), {"data-copied": hand_words.COPIED}
                ),
            ],
            className="sheet",
        ),
        html.Section([html.H2(hand_words.REPORT_WHOLE), html.Ul(files)], className="sheet"),
    ]


def _query(terminal: str, name: str) -> str:
    return shell.link("", terminal).removeprefix("?") + f"&name={name}"


def file() -> Response:
    """One file of the latest report; the tables packed into one."""
    name = request.args.get("name", "")
    terminal = whose_page(current_settings(), request.args.get("terminal")).terminal
    if terminal is None or name not in (*WHOLE, *PACKED):
        return shell.refused(PATH, words.UNKNOWN_PAGE)
    folder = folder_of(current_settings(), terminal).resolve()
    if name in WHOLE:
        return send_from_directory(folder, name, max_age=0)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for one in sorted(folder.glob(PACKED[name])):
            archive.write(one, one.name)
    packed.seek(0)
    return send_file(packed, "application/zip", as_attachment=True, download_name=f"{terminal}-{name}")


def _runs() -> Runs:
    return cast(Runs, current_app.config[RUNS_KEY])


def register(server: Flask) -> None:
    """Serve the page, and make reports."""
    server.config[RUNS_KEY] = Runs()
    server.add_url_rule(PATH, "report", page)
    server.add_url_rule(MAKE, "report-make", make, methods=["POST"])
    server.add_url_rule(STATE, "report-state", state)
    server.add_url_rule(FILE, "report-file", file)
