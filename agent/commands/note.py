"""`peakshade note`: tell the running agent what the crew did."""

import argparse
import os
import time
from contextlib import closing
from secrets import token_hex
from typing import get_args

import aiomqtt

from agent.commands.config_argument import add_config, config_path
from agent.config import Config, load_config
from agent.errors import UsageError
from agent.event_loop import run_until_done
from agent.inputs.messages import reading_topic, to_message
from agent.inputs.mqtt import QOS, publishing_client
from agent.inputs.payloads import PayloadError, parse
from agent.records import UNDO, Note, NoteKind
from agent.service.console import say
from agent.store.opening import open_for_reading
from agent.store.reader import has_note, situations
from agent.watch.heat_watch import UNITS

SUMMARY = "tell the agent what the crew did"
EXAMPLE = 'peakshade note shade-on "reflective cover over the transmitter" --config van-1.toml'

KINDS_OF_NOTE = get_args(NoteKind)
ANSWER_WITHIN_S = 10.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """What was done, and by whom."""
    parser.add_argument("kind", choices=KINDS_OF_NOTE, metavar="KIND", help=", ".join(KINDS_OF_NOTE))
    parser.add_argument("text", nargs="?", metavar="TEXT", help="a few words")
    parser.add_argument(
        "--where", metavar="UNIT", help="transmitter (assumed), modem, or where else a thermometer is"
    )
    parser.add_argument("--by", metavar="NAME", help="who did it")
    parser.add_argument("--id", metavar="ID", help="of the note that undo takes back")
    add_config(parser, by_place=False)


def run(args: argparse.Namespace) -> int:
    """Publish the note; on return the broker has it."""
    config = load_config(config_path(args), os.environ)
    if (args.kind == UNDO) != (args.id is not None):
        raise UsageError(f"{UNDO} takes a note back by its --id, as printed with it; other notes have none")
    if args.kind == UNDO and not _is_stored(config, args.id):
        raise UsageError(f"no note has the id {args.id!r}; each note's id is printed when it is made")
    if args.where is not None and args.where not in (known := _places(config)):
        raise UsageError(
            f"--where is {args.where!r}; expected one that the terminal knows: {', '.join(known)}"
        )
    name = args.id or token_hex(4)
    note = Note(unix_s=time.time(), kind=args.kind, id=name, where=args.where, text=args.text, by=args.by)
    try:
        parse("note", to_message(note))
    except PayloadError as error:
        raise UsageError(str(error)) from error
    try:
        run_until_done(_publish(config, note))
    except aiomqtt.MqttError as error:
        raise UsageError(
            f"the note was not delivered: broker {config.broker.host}:{config.broker.port}: {error};"
            f" start the agent (peakshade run {config.path}) or the broker, and send it again"
        ) from error
    back = f"taken back: {name}"
    say(back if args.kind == UNDO else f"noted: {args.kind}; to take it back: {UNDO} --id {name}")
    return 0


def _places(config: Config) -> list[str]:
    """The units with a limit, and wherever else a thermometer has been heard."""
    heard: list[str] = []
    if config.store.path.exists():
        with closing(open_for_reading(config.store.path)) as connection:
            found = [one.situation for one in situations(connection) if one.terminal == config.job.terminal]
        names = [name.partition(" ") for one in found for name in one.last_seen_unix_s]
        heard = sorted(where for kind, _, where in names if kind == "temperature" and where not in UNITS)
    return [*UNITS, *heard]


def _is_stored(config: Config, name: str) -> bool:
    """Whether the store has the note; true on a computer that has no store to look at."""
    if not config.store.path.exists():
        return True
    with closing(open_for_reading(config.store.path)) as connection:
        return has_note(connection, config.job.terminal, name)


async def _publish(config: Config, note: Note) -> None:
    async with publishing_client(config.broker, ANSWER_WITHIN_S) as client:
        await client.publish(reading_topic(config.job.terminal, "note"), to_message(note), qos=QOS)
