"""`peakshade init`: a commented config from flags and a few questions."""

import argparse
import json
import os
import re
import sys
import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TextIO
from zoneinfo import ZoneInfo

from agent.commands.broker_place import add_broker_place
from agent.config import load_config
from agent.config_check import Findings, from_text
from agent.config_job import check_setting, field_hint, job_from_mapping
from agent.config_template import SECTION_COMMENTS, SETTINGS, Setting, config_text
from agent.errors import UsageError
from agent.inputs.mosquitto import CERTIFICATE, CONFIG, write_files

SUMMARY = "write a commented config file"
EXAMPLE = (
    "peakshade init van-1.toml --terminal van-1 --site-latitude-deg 37.25\n"
    "         peakshade init van-1.toml --mosquitto broker --broker-host 192.0.2.7"
)
LOCAL_TIME = re.compile(r"\d{4}-\d\d-\d\d [0-2]\d:[0-5]\d")
Value = str | float
DRAFT = ".answers"
BACK = "<"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The file, where answers come from, and an option for every setting, in groups by section."""
    parser.add_argument("path", type=Path, help="the file to write")
    parser.add_argument("--force", action="store_true", help="overwrite the file where it exists")
    parser.add_argument("--resume", action="store_true", help="go on with the answers of an interrupted run")
    parser.add_argument(
        "--answers", type=Path, metavar="FILE", help="take answers from a TOML file, such as another config"
    )
    groups = {
        section: parser.add_argument_group(section or "terminal", SECTION_COMMENTS.get(section))
        for section in dict.fromkeys(setting.section for setting in SETTINGS)
    }
    parser.add_argument(
        "--mosquitto",
        type=Path,
        metavar="FOLDER",
        help="instead: write the whole config of a Mosquitto for this terminal (accounts, rights, TLS)",
    )
    add_broker_place(parser, "agent and devices")
    for setting in SETTINGS:
        assumed = "asked for" if setting.assumed is None else f"assumed: {setting.assumed}"
        comment = setting.comment.replace("%", "%%")
        groups[setting.section].add_argument(
            setting.flag, dest=setting.name, metavar="VALUE", help=f"{comment} ({assumed})"
        )


def run(args: argparse.Namespace) -> int:
    """Write the file; never over one that exists without --force."""
    path: Path = args.path
    if args.mosquitto is not None:
        return _write_mosquitto(path, args.mosquitto, args.broker_host, args.broker_port)
    if path.exists() and not args.force:
        raise UsageError(f"{path}: exists already; name another file, or overwrite it with --force")
    draft = path.with_name(f"{path.name}{DRAFT}")
    if args.resume and not draft.exists():
        raise UsageError(f"{draft}: there are no answers to go on with; run it without --resume")
    given: Mapping[str, str | None] = vars(args)
    told = {} if args.answers is None else _file_answers(args.answers)
    before = _file_answers(draft) if args.resume else {}
    values = collected(given, Answers(told, before, sys.stdin, sys.stdout, partial(_save, draft)))
    text = config_text(values)
    job_from_mapping(tomllib.loads(text), str(path))
    try:
        path.write_text(text, encoding="utf-8")
    except OSError as error:
        raise UsageError(f"{path}: cannot be written: {error.strerror}") from None
    draft.unlink(missing_ok=True)
    sys.stdout.write(f"{path} written. Read it through, then: peakshade plan {path}\n")
    return 0


def _write_mosquitto(path: Path, folder: Path, host: str, port: int) -> int:
    section = write_files(load_config(path, os.environ).job.terminal, host, port, folder)
    sys.stdout.write(
        f"{folder} written. Start the broker with: mosquitto -c {folder / CONFIG}\n"
        f"Give devices {folder / CERTIFICATE}, the name and password in {folder}/*-device.password, and"
        f" put this into {path}:\n\n{section}"
    )
    return 0


@dataclass(frozen=True, slots=True)
class Answers:
    """Where answers come from: a file, an interrupted run (its last one is asked again), and a person.

    `save` is handed all answers after each one.
    """

    told: Mapping[str, str]
    before: Mapping[str, str]
    lines: TextIO
    prompts: TextIO
    save: Callable[[Mapping[str, str]], None]


def collected(given: Mapping[str, str | None], answers: Answers) -> dict[str, Value]:
    """The value of every setting that is given or asked; raises UsageError for a wrong option or file."""
    values: dict[str, Value] = {}
    for setting in SETTINGS:
        text = given[setting.name]
        source = setting.flag if text is not None else setting.name
        text = answers.told.get(setting.name) if text is None else text
        if text is not None:
            values[setting.name] = _option_value(setting, text, source, values)
    open_ones = [one for one in SETTINGS if one.assumed is None and one.name not in values]
    texts = {one.name: answers.before[one.name] for one in open_ones if one.name in answers.before}
    if texts:
        texts.popitem()
    for setting in open_ones:
        if setting.name in texts:
            values[setting.name] = _option_value(setting, texts[setting.name], setting.name, values)
    _ask(open_ones, texts, values, answers)
    return values


def _ask(
    open_ones: Sequence[Setting], texts: dict[str, str], values: dict[str, Value], answers: Answers
) -> None:
    number = len(texts)
    while number < len(open_ones):
        setting = open_ones[number]
        answers.prompts.write(f"{setting.name} ({setting.comment}): ")
        answers.prompts.flush()
        line = answers.lines.readline()
        if not line:
            missing = [one.flag for one in open_ones[number:]]
            raise UsageError(f"the answers ended; still needed: {' '.join(missing)}; go on with --resume")
        text = line.strip()
        if text == BACK:
            number = max(0, number - 1)
            continue
        value, complaint = _read(setting, text, values)
        if complaint:
            answers.prompts.write(f"  {complaint}; {BACK} asks the question before again\n")
            continue
        values[setting.name], texts[setting.name] = value, text
        answers.save(texts)
        number += 1


def _option_value(setting: Setting, text: str, source: str, values: Mapping[str, Value]) -> Value:
    value, complaint = _read(setting, text, values)
    if complaint:
        raise UsageError(complaint.replace("answer", source, 1))
    return value


def _file_answers(path: Path) -> dict[str, str]:
    """Answers by `section.key` of a TOML file in sections, as texts; other keys are left out."""
    try:
        tree = tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise UsageError(f"{path}: cannot be read as answers ({error}); name a TOML file") from None
    found: dict[str, str] = {}
    for setting in SETTINGS:
        table = tree.get(setting.section, {}) if setting.section else tree
        if isinstance(table, dict) and setting.key in table:
            found[setting.name] = str(table[setting.key])
    return found


def _save(draft: Path, texts: Mapping[str, str]) -> None:
    """The answers so far, whole or not at all; raises UsageError where that fails."""
    partial_draft = draft.with_name(f"{draft.name}.partial")
    lines = [f"{name} = {json.dumps(text, ensure_ascii=False)}\n" for name, text in texts.items()]
    try:
        partial_draft.write_text("".join(lines), encoding="utf-8")
        partial_draft.replace(draft)
    except OSError as error:
        raise UsageError(f"{draft}: cannot be written: {error.strerror}; name another place") from None


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
