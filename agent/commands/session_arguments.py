"""The sessions that a command names: all are read before anything is said of the bad ones."""

import argparse
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from agent.errors import UsageError
from agent.replay.sessions import Session, read_session, session_folder
from agent.replay.skipped import all_skipped_text, skipped_text
from agent.report.stored import StoredDay, stored_day
from agent.store.place import HELP, place_of


@dataclass(frozen=True, slots=True)
class SessionsRead:
    """Sessions by the name that the user gave. `flawless` is false where something of them was left out."""

    sessions: Mapping[str, Session]
    folders: Mapping[str, Path]
    flawless: bool


def add_strict(parser: argparse.ArgumentParser) -> None:
    """The option that refuses a file for one bad line."""
    parser.add_argument(
        "--strict", action="store_true", help="refuse a session for one bad line instead of skipping the line"
    )


def add_stored(parser: argparse.ArgumentParser) -> None:
    """The options that name a stored day instead."""
    parser.add_argument("--store", type=place_of, metavar="STORE", help=f"{HELP}, with --day")
    parser.add_argument("--day", metavar="DATE", help="a stored day at the site, such as 2026-07-18")
    parser.add_argument("--terminal", metavar="NAME", help="which of the store, where it has several")


def asked_day(args: argparse.Namespace) -> StoredDay | None:
    """The stored day, None where sessions are named; raises UsageError where it is neither or both."""
    if args.session and args.store is not None:
        raise UsageError("sessions and --store are given; expected one of them")
    if args.store is not None and args.day is None:
        raise UsageError("--store needs --day, a date such as 2026-07-18")
    if not args.session and args.store is None:
        raise UsageError("no day is named; expected a session, or --store STORE with --day DATE")
    return None if args.store is None else stored_day(args.store, args.day, args.terminal)


def read_sessions(names: Sequence[str], strict: bool) -> SessionsRead:
    """Read each; what is skipped or refused goes to the error output. Raises UsageError where none is."""
    folders = {name: session_folder(name) for name in names}
    sessions: dict[str, Session] = {}
    refused: list[str] = []
    for name, folder in folders.items():
        try:
            session = read_session(folder)
            if strict and session.skipped:
                raise UsageError(all_skipped_text(session.skipped))
        except UsageError as error:
            refused.append(str(error))
            continue
        sessions[name] = session
        sys.stderr.writelines(f"{line}\n" for line in skipped_text(session.skipped))
    if not sessions:
        raise UsageError("\n".join(refused))
    sys.stderr.writelines(f"{text}\n" for text in refused)
    skipped = any(session.skipped for session in sessions.values())
    return SessionsRead(sessions, folders, flawless=not refused and not skipped)
