"""`peakshade import`: another program's CSV files as a session folder."""

import argparse
import os
import sys
from operator import attrgetter
from pathlib import Path

from agent.config import load_config
from agent.errors import UsageError
from agent.records import AnyReading
from agent.replay.import_csv import csv_map, readings_from
from agent.replay.job_toml import job_toml
from agent.replay.sessions import Session, write_session

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
    parser.add_argument("--title", default="Imported day", help="of the session (default: Imported day)")


def run(args: argparse.Namespace) -> int:
    """Write the folder."""
    job = load_config(args.config, os.environ).job
    readings: list[AnyReading] = []
    for path, map_path in args.csv:
        readings += readings_from(path, csv_map(_text(map_path), str(map_path)))
    readings.sort(key=attrgetter("unix_s"))
    if len({reading.unix_s for reading in readings}) < 2:
        raise UsageError("the files hold no two moments of readings; check the maps' columns")
    session = Session(
        title=args.title,
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
    write_session(args.out, session)
    sys.stdout.write(
        f"{args.out} written: {len(readings)} readings; replay it: peakshade replay {args.out}\n"
    )
    return 0


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as a map ({error}); name a TOML file") from None
