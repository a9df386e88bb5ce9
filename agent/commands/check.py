"""`peakshade check`: everything that can be looked at before the job, one line each."""

import argparse
import os
import shutil
import stat
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from agent.commands.broker_answer import Answer, Finding, asked_broker, check_broker
from agent.commands.config_argument import add_config, config_path
from agent.config import Config, load_config
from agent.errors import UsageError
from agent.event_loop import run_until_done
from agent.inputs.collectors.frame import EXPECTED
from agent.inputs.collectors.registry import inputs_of
from agent.inputs.collectors.trying import try_all
from agent.inputs.exposure import what_is_open
from agent.plan.day_ahead import day_ahead
from agent.planning.store import PlanError, load_or_compute_plan
from agent.records import AlertEvent, JsonValue
from agent.service.console import say
from agent.service.hearing import REMARKS
from agent.service.outlets import outlets_of
from agent.store.opening import StoreError, open_for_reading
from agent.store.reader import InputAge, clock_offset_s, input_ages, input_states

SUMMARY = "pre-flight: config, broker, inputs, clock, disk, sun"
EXAMPLE = "peakshade check van-1.toml"

# What the group and all others may do with a file.
OTHERS = stat.S_IRWXG | stat.S_IRWXO
# A day of one reading a second of every kind takes some 50 MB with its roll-ups.
ROOM_BYTES = 500_000_000
# Slower than any common thermometer or test script publishes.
FRESH_S = 600.0


@dataclass(frozen=True, slots=True)
class Extras:
    """What is only done when asked for."""

    rate_tests: bool
    outlets: bool


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The config, and what costs data or reaches people and is only done when asked for."""
    add_config(parser)
    parser.add_argument("--rate-tests", action="store_true", help="run the tests of the rate once; uses data")
    parser.add_argument("--outlets", action="store_true", help="send a test alert by every [notify] outlet")


def run(args: argparse.Namespace) -> int:
    """Print a line for everything looked at; 1 where something wants mending."""
    path = config_path(args)
    config = load_config(path, os.environ)
    all_fine = True
    for finding in findings(path, config, time.time(), Extras(args.rate_tests, args.outlets)):
        say(f"{'ok     ' if finding.fine else 'FINDING'}  {finding.subject:<8} {finding.text}")
        all_fine &= finding.fine
    return 0 if all_fine else 1


def findings(path: Path, config: Config, now_unix_s: float, extras: Extras) -> Iterator[Finding]:
    """Look at one thing after the other."""
    yield Finding(True, "config", f"{path}: terminal {config.job.terminal}, {config.job.site.name}")
    answer = asked_broker(config)
    yield check_broker(config, answer)
    yield from (Finding(fine, "open", text) for fine, text in run_until_done(what_is_open(config)))
    yield check_clock(path, config, now_unix_s)
    yield check_disk(config)
    yield check_store(config)
    yield from check_rights(config)
    yield from check_plan(path, config)
    yield from check_inputs(config, now_unix_s)
    yield from check_collectors(config, answer, extras.rate_tests)
    yield from check_outlets(config, now_unix_s, extras.outlets)


def check_clock(path: Path, config: Config, now_unix_s: float) -> Finding:
    """The clock cannot be earlier than the config was written, and the job should be ahead."""
    zone = ZoneInfo(config.job.site.time_zone)
    shown = f"{datetime.fromtimestamp(now_unix_s, UTC).astimezone(zone):%Y-%m-%d %H:%M:%S} at the site"
    if now_unix_s < path.stat().st_mtime:
        text = f"{shown}, which is before the config file was written; set the computer's clock"
        return Finding(False, "clock", text)
    if now_unix_s > config.job.day.end_unix_s:
        text = f"{shown}, after the end of the job; mend [day] in the config, or the computer's clock"
        return Finding(False, "clock", text)
    tolerance = f"messages may be off by {config.clock_tolerance_s:.0f} s"
    return Finding(True, "clock", f"{shown}; {tolerance}")


def check_disk(config: Config) -> Finding:
    """Room for the store."""
    folder = config.store.path.resolve().parent
    if not folder.is_dir():
        return Finding(False, "disk", f"{folder} does not exist; make it, or mend [store] path in the config")
    free_bytes = shutil.disk_usage(folder).free
    text = f"{free_bytes / 1e9:.1f} GB free in {folder}"
    if free_bytes < ROOM_BYTES:
        return Finding(False, "disk", f"{text}; free {ROOM_BYTES / 1e9:.1f} GB, or mend [store] path")
    return Finding(True, "disk", text)


def check_store(config: Config) -> Finding:
    """The store opens and may be written, or can be made."""
    path = config.store.path
    if not path.exists():
        if os.access(path.resolve().parent, os.W_OK):
            return Finding(True, "store", f"{path} will be made")
        return Finding(False, "store", f"{path} cannot be made; its folder may not be written")
    try:
        open_for_reading(path).close()
    except StoreError as error:
        return Finding(False, "store", str(error))
    if not os.access(path, os.W_OK):
        return Finding(False, "store", f"{path} may not be written; check who owns it")
    return Finding(True, "store", f"{path} opens, {path.stat().st_size / 1e6:.1f} MB")


def check_rights(config: Config) -> Iterator[Finding]:
    """Store, plan and secrets are nobody else's to read, where the system has such rights."""
    named = (config.dashboard.passcode_file, config.notify.urls_file)
    files = [config.store.path, *config.path.parent.glob(f"{config.path.stem}.*.plan.json")]
    for path in [*files, *(Path(one) for one in named if one is not None)]:
        if os.name == "posix" and path.is_file() and path.stat().st_mode & OTHERS:
            yield Finding(False, "rights", f"{path} may be read by others on this computer: chmod 600 {path}")


def check_plan(path: Path, config: Config) -> Iterable[Finding]:
    """The plan of the job's days, computed where it is not there, and what the sun does then."""
    try:
        plan = load_or_compute_plan(path, config)
    except PlanError as error:
        return [Finding(False, "plan", str(error))]
    works = plan.verdict.answer == "works"
    verdict = Finding(works, "plan", f"{plan.verdict.answer}: {plan.verdict.reason}")
    zone = ZoneInfo(config.job.site.time_zone)
    return [
        verdict,
        *(Finding(False, "plan", one) for one in plan.findings),
        *(Finding(True, "sun", one) for one in day_ahead(plan, zone)),
    ]


def check_inputs(config: Config, now_unix_s: float) -> Iterable[Finding]:
    """Every input that the store has heard of, and whether it still speaks."""
    if not config.store.path.exists():
        return [Finding(True, "inputs", "none heard yet; they show here once the agent has run")]
    try:
        connection = open_for_reading(config.store.path)
    except StoreError:
        return []  # reported with the store
    with closing(connection):
        ages = input_ages(connection, config.job.terminal)
        states = input_states(connection, config.job.terminal)
        engine_unix_s = now_unix_s - clock_offset_s(connection, config.job.terminal)
    heard = [
        Finding(False, "heard", f"{one.name}: {one.finding}")
        for one in states
        if one.finding is not None and one.name.split()[0] in REMARKS
    ]
    regular = [one for one in ages if one.kind not in ("note", "acknowledge", "clock")]
    return [*(_input_finding(one, engine_unix_s - one.unix_s) for one in regular), *heard]


def check_collectors(config: Config, answer: Answer, rate_tests: bool) -> Iterator[Finding]:
    """Every input that the agent reads by itself, tried once; where the agent runs, what it says of them."""
    collectors, wrong = inputs_of(config, os.environ)
    yield from (Finding(False, "inputs", line) for one in wrong for line in one.lines)
    if answer.status is not None:
        yield from _told_inputs(answer.status.get("collectors", []))
        collectors = [one for one in collectors if rate_tests and one.rate_test is not None]
    costs_mb = [one.rate_test.most_mb for one in collectors if one.rate_test is not None]
    if rate_tests and costs_mb:
        yield Finding(True, "inputs", f"tests of the rate run now, and take up to {sum(costs_mb):g} MB")
    # The agent's own broker runs with the agent.
    waiting = [one for one in collectors if one.at_broker and config.broker.embedded and not answer.connects]
    tried = run_until_done(try_all([one for one in collectors if one not in waiting], rate_tests))
    yield from (Finding(one.fine, "input", f"{one.name}: {one.text}") for one in tried)
    yield from (Finding(True, "input", f"{one.name}: is heard once the agent runs") for one in waiting)


def _told_inputs(told: JsonValue) -> Iterator[Finding]:
    """What a running agent says of the inputs that it holds, whose ports nobody else can open meanwhile."""
    for one in told if isinstance(told, list) else []:
        if isinstance(one, dict):
            wrong = one["error"] or one["finding"]
            text = wrong or f"{one['state']}, {one['readings']} readings since the agent started"
            yield Finding(not wrong, "input", f"{one['name']}: {text} (asked the running agent)")


def check_outlets(config: Config, now_unix_s: float, send: bool) -> Iterator[Finding]:
    """Every way out of alerts; a test alert goes out only when that is asked for."""
    try:
        outlets = outlets_of(config)
    except UsageError as error:
        yield Finding(False, "outlet", str(error))
        return
    for name, outlet in outlets.items():
        if not send:
            yield Finding(True, "outlet", f"{name}: not tried; --outlets sends a test alert")
            continue
        try:
            run_until_done(outlet.deliver(trial_alert(now_unix_s)))
        except EXPECTED as error:
            yield Finding(False, "outlet", f"{name}: {str(error) or 'no answer in time'}; mend [notify]")
        else:
            yield Finding(True, "outlet", f"{name}: the test alert went out; ask whether it came in")


def trial_alert(now_unix_s: float) -> AlertEvent:
    """An alert that nobody can take for a real one."""
    return AlertEvent(
        unix_s=now_unix_s,
        rule="test",
        severity="advise",
        state="raised",
        cause="none",
        action="Nothing to do: this is only a test of how alerts reach you",
        evidence=("sent by hand, before the job",),
        figures={},
        deadline_unix_s=None,
    )


def _input_finding(one: InputAge, age_s: float) -> Finding:
    name = f"{one.kind} {one.place}".rstrip()
    if age_s <= FRESH_S:
        return Finding(True, "input", f"{name}: heard {age_s:.0f} s ago")
    silent = f"{age_s / 3600:.1f} h" if age_s >= 7200 else f"{age_s / 60:.0f} min"
    return Finding(False, "input", f"{name}: silent for {silent}; start what publishes it, and the agent")
