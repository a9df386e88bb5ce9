"""`peakshade report`: the review of recorded or stored days as page, PDF and tables."""

import argparse
import importlib
import sys
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import version
from importlib.util import find_spec
from pathlib import Path

from agent.commands.session_arguments import add_strict, read_sessions
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
from agent.report.tables import csv_text, parquet_bytes, tables
from agent.report.verdict import verdict
from agent.store.shown import ShownTimes
from agent.watch.rule_set import RuleSet

SUMMARY = "after-action review of recorded sessions or of a stored day"
EXAMPLE = "peakshade report salt-pan-summer --out review"
# What the optional dependencies `report` are for.
EXTRA = {"pyarrow": "Parquet", "weasyprint": "PDF"}
PANGO = "WeasyPrint needs the system's Pango library (Debian: libpangoft2-1.0-0); print report.html instead"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The sessions or the stored day, other rules, and where to write."""
    parser.add_argument(
        "session", nargs="*", metavar="SESSION", help="a session folder, or a bundled session's name"
    )
    parser.add_argument("--store", type=Path, metavar="PATH", help="the agent's store, with --day")
    parser.add_argument("--day", metavar="DATE", help="a stored day at the site, such as 2026-07-18")
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
    if args.session and args.store is not None:
        raise UsageError("sessions and --store are given; expected one of them")
    if args.store is not None:
        if args.day is None:
            raise UsageError("--store needs --day, a date such as 2026-07-18")
        stored = stored_day(args.store, args.day, args.terminal)
        plan = session_plan(stored.session)
        course, _ = _engine(stored.session, plan, rules)
        return [_review(args.day, stored.session, plan, (course, stored.events), stored.times)], True
    if not args.session:
        raise UsageError("no day is named; expected a session, or --store PATH with --day DATE")
    read = read_sessions(args.session, args.strict)
    found = []
    for name, session in read.sessions.items():
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


def _engine(session: Session, plan: LinkPlan, rules: RuleSet) -> tuple[Course, list[AlertEvent]]:
    return course_and_events(session.readings, session.job, plan, rules, session.end_unix_s)


def _write(folder: Path, reviews: Sequence[Review], rules: RuleSet) -> list[str]:
    """Write every file; returns one line for each, and for each kind that cannot be made here."""
    page = page_html(reviews, rules.digest(), version("peakshade"))
    found = tables(reviews)
    files = {"report.html": page.encode()} | {
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
