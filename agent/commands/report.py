"""`peakshade report`: the review of recorded or stored days as page, PDF and tables."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from agent.commands.config_argument import add_config, config_path
from agent.commands.session_arguments import add_strict, read_sessions
from agent.config import load_config
from agent.errors import UsageError
from agent.link_plan import LinkPlan
from agent.records import AlertEvent
from agent.replay.replaying import session_plan
from agent.replay.rules_file import read_rules
from agent.replay.sessions import Session
from agent.replay.shown_session import shown_events, shown_session
from agent.report.course import Course, course_and_events
from agent.report.findings import findings
from agent.report.page import page_html
from agent.report.review import Review, review
from agent.report.stored import stored_day
from agent.report.summary import summary
from agent.report.tables import csv_text, parquet_bytes, tables
from agent.report.verdict import verdict
from agent.store.place import HELP, place_of
from agent.store.shown import ShownTimes
from agent.watch.rule_set import RuleSet

SUMMARY = "after-action review of recorded sessions or of a stored day"
EXAMPLE = (
    "peakshade report salt-pan-summer --out review\n"
    "         peakshade report --config van-1.toml --day 2026-07-18 2026-07-19"
)
SUMMARY_FILE = "summary.txt"
# One line of the error output a step; the page of the dashboard reads it.
PROGRESS = "{done} of {of}: {what}"
PAGES = "page, PDF and tables"
# What the optional dependencies `report` are for.
EXTRA = {"pyarrow": "Parquet", "weasyprint": "PDF"}
PANGO = "WeasyPrint needs the system's Pango library (Debian: libpangoft2-1.0-0); print report.html instead"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The sessions or the stored day, other rules, and where to write."""
    parser.add_argument(
        "session", nargs="*", metavar="SESSION", help="a session folder, or a bundled session's name"
    )
    add_config(parser, by_place=False)
    parser.add_argument("--store", type=place_of, metavar="STORE", help=f"{HELP}, with --day")
    parser.add_argument(
        "--day", nargs="+", metavar="DATE", help="stored days at the site, such as 2026-07-18"
    )
    parser.add_argument(
        "--terminal", metavar="NAME", help="which terminal of the store, where it has several"
    )
    parser.add_argument("--rules", type=Path, metavar="FILE", help="a rules file instead of the defaults")
    add_strict(parser)
    parser.add_argument(
        "--out", type=Path, default=Path("report"), metavar="FOLDER", help="where to write (default: report)"
    )


def run(args: argparse.Namespace) -> int:
    """Write the report; 1 where something should change next time or could not be read."""
    rules = read_rules(args.rules)
    found, flawless = _reviews(args, rules)
    reviews = sorted(found, key=lambda one: one.span.start_unix_s)
    written = _write(args.out, reviews, rules)
    for one in reviews:
        sys.stdout.write(f"{one.title} ({one.provenance})\n")
        sys.stdout.writelines(f"  {line}\n" for line in verdict(one, findings(one)))
    sys.stdout.writelines(f"{line}\n" for line in written)
    return 0 if flawless and not any(findings(one) for one in reviews) else 1


def _reviews(args: argparse.Namespace, rules: RuleSet) -> tuple[list[Review], bool]:
    """The reviews, and whether everything of the days could be read."""
    stored = args.store is not None or args.config is not None
    if args.session and stored:
        raise UsageError("sessions and a store are given; expected one of them")
    if stored or args.day is not None:
        return _stored_reviews(args, rules), True
    if not args.session:
        raise UsageError("no day is named; expected a session, or --config FILE with --day DATE")
    read = read_sessions(args.session, args.strict)
    found = []
    for number, (name, session) in enumerate(read.sessions.items()):
        _progress(number, len(read.sessions), name)
        plan = session_plan(session)
        title = read.folders[name].resolve().name
        found.append(_review(title, session, plan, _engine(session, plan, rules), session.times))
    return found, read.flawless


def _review(
    name: str,
    session: Session,
    plan: LinkPlan,
    engine: tuple[Course, Sequence[AlertEvent]],
    times: ShownTimes,
) -> Review:
    """By the clock that people know."""
    course, events = engine
    known = replace(course, unix_s=tuple(map(times.shown, course.unix_s)))
    return review(name, shown_session(session, times), plan, known, shown_events(events, times))


def _stored_reviews(args: argparse.Namespace, rules: RuleSet) -> list[Review]:
    """Of the days in the store, which the config names where it is not named itself."""
    if args.day is None:
        named = "--config" if args.store is None else "--store"
        raise UsageError(f"{named} needs --day, a date such as 2026-07-18")
    store, terminal = args.store, args.terminal
    if store is None:
        config = load_config(config_path(args), os.environ)
        store, terminal = config.store.path, terminal or config.job.terminal
    found = []
    for number, day in enumerate(args.day):
        _progress(number, len(args.day), day)
        stored = stored_day(store, day, terminal)
        plan = session_plan(stored.session)
        course, _ = _engine(stored.session, plan, rules)
        found.append(_review(day, stored.session, plan, (course, stored.events), stored.times))
    return found


def _progress(done: int, of: int, what: str) -> None:
    """How far it is, for whoever waits."""
    sys.stderr.write(PROGRESS.format(done=done, of=of, what=what) + "\n")
    sys.stderr.flush()


def _engine(session: Session, plan: LinkPlan, rules: RuleSet) -> tuple[Course, list[AlertEvent]]:
    return course_and_events(session.readings, session.job, plan, rules, session.end_unix_s)


def _write(folder: Path, reviews: Sequence[Review], rules: RuleSet) -> list[str]:
    """Write every file; returns one line for each, and for each kind that cannot be made here."""
    _progress(len(reviews), len(reviews), PAGES)
    page = page_html(reviews, rules.digest(), version("peakshade"))
    found = tables(reviews)
    text = "".join(f"{line}\n" for line in summary(reviews))
    files = {"report.html": page.encode(), SUMMARY_FILE: text.encode()} | {
        f"{name}.csv": csv_text(table).encode() for name, table in found.items()
    }
    missing = [name for name in ("pyarrow", "weasyprint") if find_spec(name) is None]
    if "pyarrow" not in missing:
        files |= {f"{name}.parquet": parquet_bytes(table) for name, table in found.items()}
    lines = [f"no {EXTRA[name]} without {name}: pip install 'peakshade[report]'" for name in missing]
    if "weasyprint" not in missing:
        try:
            files["report.pdf"] = importlib.import_module("agent.report.pdf").pdf_bytes(page)
        except OSError as error:
            lines.append(f"no PDF: {PANGO} ({error})")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            (folder / name).write_bytes(data)
    except OSError as error:
        raise UsageError(f"{folder}: cannot be written ({error}); name another folder with --out") from None
    return [*(str(folder / name) for name in sorted(files)), *lines]
