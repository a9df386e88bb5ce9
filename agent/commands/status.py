"""`peakshade status`: the current verdict of every terminal in a store."""

import argparse
import json
import os
import time
from collections.abc import Iterable, Iterator
from contextlib import closing
from dataclasses import asdict
from pathlib import Path

from agent.commands.config_argument import add_config, config_path
from agent.config import load_config
from agent.errors import UsageError
from agent.records import ActiveAlert, JsonValue
from agent.replay.situation_text import situation_json
from agent.service.console import say
from agent.service.hearing import BROKER
from agent.service.status_file import has_ended
from agent.store.opening import open_for_reading
from agent.store.reader import InputState, StoredSituation, input_states, situations
from agent.store.room import room_left
from agent.watch.rules import in_words
from agent.wording import span

SUMMARY = "the current verdict in the terminal window"
EXAMPLE = "peakshade status van-1.toml"

GRAVE = ("act", "urgent")
# The agent writes at least every ten seconds of its own time; then it has stopped.
SILENT_AFTER_S = 60.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Which store, by its config or its own name."""
    add_config(parser)
    parser.add_argument("--json", action="store_true", help="print everything as JSON, one object a terminal")
    parser.add_argument("--store", type=Path, metavar="PATH", help="the store itself, with all its terminals")


def run(args: argparse.Namespace) -> int:
    """Print the verdict; 1 where an alert wants an act, broker or agent is gone, or the disk full."""
    if args.config is not None and args.store is not None:
        raise UsageError("name either the config file or --store PATH")
    terminal = None
    path: Path | None = args.store
    if path is None:
        config = load_config(config_path(args), os.environ)
        terminal, path = config.job.terminal, config.store.path
    with closing(open_for_reading(path)) as connection:
        found = [one for one in situations(connection) if terminal in (None, one.terminal)]
        inputs = {one.terminal: input_states(connection, one.terminal) for one in found}
    if not found:
        raise UsageError(f"store {path}: holds no verdict yet; wait for the first readings")
    now_unix_s = time.time()
    urgency, room = room_left(path)
    ended = has_ended(path)
    if args.json:
        say(json.dumps([_json(one, inputs[one.terminal], now_unix_s, ended) for one in found], indent=2))
    else:
        if ended:
            say("the agent has ended: these were its last words; peakshade run CONFIG starts it again")
        for one in found:
            for line in (*status_lines(one, now_unix_s), *input_lines(inputs[one.terminal])):
                say(line)
        if urgency is not None:
            say(f"disk: {room}")
    needed = any(_needs_someone(one, inputs[one.terminal], now_unix_s) for one in found)
    return 1 if needed or ended or urgency == "urgent" else 0


def _json(stored: StoredSituation, states: Iterable[InputState], now_unix_s: float, ended: bool) -> JsonValue:
    return {
        "terminal": stored.terminal,
        "agent_ended": ended,
        "age_s": round(now_unix_s - stored.written_wall_unix_s, 1),
        "inputs": [asdict(one) for one in states],
        **situation_json(stored.situation),
    }


def status_lines(stored: StoredSituation, now_unix_s: float) -> Iterator[str]:
    """The verdict first, then every alert with its reasons."""
    situation = stored.situation
    yield f"{stored.terminal}: {situation.level}: {situation.verdict}"
    if situation.action:
        yield f"  do: {situation.action}"
    if situation.deadline_unix_s is not None:
        yield f"  within {span(situation.deadline_unix_s - situation.unix_s)}"
    for alert in situation.alerts:
        yield f"  {in_words(alert.event.rule)} ({alert.event.severity}), {_standing(alert, situation.unix_s)}"
        yield from (f"    {reason}" for reason in alert.event.evidence)
    if situation.next_event is not None:
        yield f"  next: {situation.next_event}"
    age_s = now_unix_s - stored.written_wall_unix_s
    if age_s > SILENT_AFTER_S:
        yield f"  the agent has written nothing for {span(age_s)}: this is old; is it running?"
    if age_s < -SILENT_AFTER_S:
        yield f"  the clock was set back by {span(-age_s)} since this was written; is the agent running?"


def input_lines(states: Iterable[InputState]) -> Iterator[str]:
    """What the agent says of broker, messages and its own inputs that are not as they should be."""
    for one in states:
        told = one.error if one.state == "failing" else one.finding
        if told is not None:
            yield f"  {one.name}: {told}"


def _standing(alert: ActiveAlert, unix_s: float) -> str:
    since = f"for {span(unix_s - alert.since_unix_s)}"
    return f"acknowledged, {since}" if alert.acknowledged else since


def _needs_someone(stored: StoredSituation, states: Iterable[InputState], now_unix_s: float) -> bool:
    grave = any(alert.event.severity in GRAVE for alert in stored.situation.alerts)
    deaf = any(one.state == "failing" and one.name.startswith(f"{BROKER} ") for one in states)
    return grave or deaf or abs(now_unix_s - stored.written_wall_unix_s) > SILENT_AFTER_S
