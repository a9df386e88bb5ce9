"""`peakshade import`: another program's CSV files as a session folder."""

import argparse
import os
import sys
from dataclasses import replace
from operator import attrgetter
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.commands.session_arguments import add_strict
from agent.config import load_config
from agent.errors import UsageError
from agent.inputs.messages import kind_of, to_message
from agent.job import Job
from agent.records import AnyReading
from agent.replay.import_csv import csv_map, readings_from
from agent.replay.import_gaps import gaps_text, joined
from agent.replay.job_toml import job_toml
from agent.replay.replaying import session_plan
from agent.replay.session_time import SiteClock
from agent.replay.sessions import PLAN_FILE, Session, write_session
from agent.replay.skipped import all_skipped_text, skipped_text

SUMMARY = "write CSV files of another program as a session folder"
EXAMPLE = "peakshade import van-1.toml saturday --csv modem.csv modem-map.toml"
HEADING = "The job of this imported session; where broker and store were is left out."


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The job, the folder to write, and each file with its map."""
    parser.add_argument("config", type=Path, help="the config file of the job")
    parser.add_argument("out", type=Path, help="the session folder to write")
    parser.add_argument(
        "--csv", nargs=2, type=Path, action="append", required=True, metavar=("FILE", "MAP"),
        help="a file and the TOML file that says what its columns are; may be given several times",
    )  # fmt: skip
    parser.add_argument(
        "--show",
        type=int,
        metavar="N",
        help="show the first N readings that the maps make, write nothing",
    )
    add_strict(parser)
    parser.add_argument("--title", default="Imported day", help="of the session (default: Imported day)")


def run(args: argparse.Namespace) -> int:
    """Write the folder, or show what would be in it; 1 where something was left out."""
    job = load_config(args.config, os.environ).job
    parts = [readings_from(path, csv_map(_text(map_path), str(map_path))) for path, map_path in args.csv]
    readings = sorted((one for part in parts for one in part.readings), key=attrgetter("unix_s"))
    skipped = [line for part in parts for line in part.skipped]
    if args.strict and skipped:
        raise UsageError(all_skipped_text(skipped))
    sys.stderr.writelines(f"{line}\n" for line in skipped_text(skipped))
    for (path, _), part in zip(args.csv, parts, strict=True):
        if part.bare_rows:
            sys.stderr.write(f"{path}: {part.bare_rows} rows hold none of the values that the map names\n")
    clock = SiteClock(ZoneInfo(job.site.time_zone), dated=True)
    gaps = gaps_text(joined(one for part in parts for one in part.stretches), clock)
    sys.stderr.writelines(f"{line}\n" for line in gaps)
    if args.show is not None:
        sys.stdout.writelines(f"{kind_of(one)} {to_message(one).decode()}\n" for one in readings[: args.show])
        sys.stdout.write(f"{len(readings)} readings; nothing was written\n")
    else:
        _write(args.out, args.title, job, readings)
    return 1 if skipped else 0


def _write(folder: Path, title: str, job: Job, readings: list[AnyReading]) -> None:
    if len({reading.unix_s for reading in readings}) < 2:
        raise UsageError("the files hold no two moments of readings; check the maps' columns")
    session = Session(
        title=title,
        terminal=job.terminal,
        start_unix_s=readings[0].unix_s,
        end_unix_s=readings[-1].unix_s,
        provenance="recorded",
        story="",
        config_text=job_toml(job, HEADING),
        job=job,
        readings=readings,
        labels=None,
    )
    try:
        session = replace(session, plan=session_plan(session))
    except UsageError as error:
        sys.stderr.write(f"without {PLAN_FILE}: {error}\n")
    write_session(folder, session)
    sys.stdout.write(f"{folder} written: {len(readings)} readings; replay it: peakshade replay {folder}\n")


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as a map ({error}); name a TOML file") from None
