"""`peakshade init`: a commented config from flags and a few questions."""

import argparse
import re
import sys
import tomllib
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from typing import TextIO
from zoneinfo import ZoneInfo

from agent.config_check import Findings, from_text
from agent.config_job import check_setting, field_hint, job_from_mapping
from agent.config_template import SETTINGS, Setting, config_text
from agent.errors import UsageError

SUMMARY = "write a commented config file"
EXAMPLE = "peakshade init van-1.toml --terminal van-1 --site-latitude-deg 37.25"
LOCAL_TIME = re.compile(r"\d{4}-\d\d-\d\d [0-2]\d:[0-5]\d")
Value = str | float


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The file, and an option for every setting; what is not given is asked or assumed."""
    parser.add_argument("path", type=Path, help="the file to write")
    parser.add_argument("--force", action="store_true", help="overwrite the file where it exists")
    for setting in SETTINGS:
        assumed = "asked for" if setting.assumed is None else f"assumed: {setting.assumed}"
        comment = setting.comment.replace("%", "%%")
        parser.add_argument(setting.flag, dest=setting.name, metavar="VALUE", help=f"{comment} ({assumed})")


def run(args: argparse.Namespace) -> int:
    """Write the file; never over one that exists without --force."""
    path: Path = args.path
    if path.exists() and not args.force:
        raise UsageError(f"{path}: exists already; name another file, or overwrite it with --force")
    given: Mapping[str, str | None] = vars(args)
    values = collected(given, sys.stdin, sys.stdout)
    text = config_text(values)
    job_from_mapping(tomllib.loads(text), str(path))
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{path}: cannot be written: {error.strerror}") from None
    sys.stdout.write(f"{path} written. Read it through, then: peakshade plan {path}\n")
    return 0


def collected(given: Mapping[str, str | None], answers: TextIO, prompts: TextIO) -> dict[str, Value]:
    """The value of every setting that is given or asked; raises UsageError for a wrong option."""
    values: dict[str, Value] = {}
    for setting in SETTINGS:
        text = given[setting.name]
        if text is not None:
            values[setting.name] = _option_value(setting, text, values)
    for setting in SETTINGS:
        if setting.assumed is None and setting.name not in values:
            values[setting.name] = _asked(setting, values, answers, prompts)
    return values


def _option_value(setting: Setting, text: str, values: Mapping[str, Value]) -> Value:
    value, complaint = _read(setting, text, values)
    if complaint:
        raise UsageError(complaint.replace("answer", setting.flag, 1))
    return value


def _asked(setting: Setting, values: Mapping[str, Value], answers: TextIO, prompts: TextIO) -> Value:
    while True:
        prompts.write(f"{setting.name} ({setting.comment}): ")
        prompts.flush()
        line = answers.readline()
        if not line:
            missing = [one.flag for one in SETTINGS if one.assumed is None and one.name not in values]
            raise UsageError(f"the answers ended; still needed: {' '.join(missing)}")
        value, complaint = _read(setting, line.strip(), values)
        if not complaint:
            return value
        prompts.write(f"  {complaint}\n")


def _read(setting: Setting, text: str, values: Mapping[str, Value]) -> tuple[Value, str]:
    """The value, and what is wrong with it ("" for nothing)."""
    if setting.section == "day":
        value: Value = _with_offset(text, values.get("site.time_zone"))
    else:
        read = from_text(field_hint(setting.section, setting.key), text)
        value = read if isinstance(read, str | float) else text
    findings = Findings("answer")
    check_setting(setting.section, setting.key, value, findings)
    return value, "\n".join(findings.lines)


def _with_offset(text: str, time_zone: Value | None) -> str:
    """A local time of the site ("2026-07-18 09:00") with its offset; anything else is left as it is."""
    if not isinstance(time_zone, str) or not LOCAL_TIME.fullmatch(text):
        return text
    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(time_zone)).isoformat()
