"""The `peakshade` command: finds the module of a command and hands over."""

import argparse
import importlib
import os
import sys
from collections.abc import Sequence
from types import ModuleType

from agent.errors import UsageError
from agent.extras import module_with_extra

# Written here so that `--help` imports no command; a test compares it with each module's SUMMARY.
COMMANDS = {
    "demo": "play a recorded day through broker, agent, store and dashboard",
    "init": "write a commented config file",
    "check": "pre-flight: config, broker, inputs, clock, disk, sun",
    "plan": "pointing, link budget, sun passes, heat and safety of the job",
    "run": "watch a real terminal",
    "service": "install or remove the agent as a service of systemd",
    "status": "the current verdict in the terminal window",
    "note": "tell the agent what the crew did",
    "listen": "what arrives at the broker, and what the maps of the config make of it",
    "respond": "answer tests of the rate, on a computer beyond the satellite",
    "replay": "run recorded sessions through the alert engine",
    "report": "after-action review of recorded sessions or of a stored day",
    "record": "write stored hours as a session folder",
    "desk": "one database of many terminals: take in what they forward, and show it",
    "rescue": "bring what can be read of a damaged store into a new one",
    "import": "write CSV files of another program as a session folder",
    "tune": "try many rule sets on labelled sessions and propose a rules file",
}


class _Version(argparse.Action):
    """Looks the version up only when asked, which takes longer than all of `--help`."""

    def __call__(self, parser: argparse.ArgumentParser, *_: object) -> None:
        metadata = importlib.import_module("importlib.metadata")
        sys.stdout.write(f"peakshade {metadata.version('peakshade')}\n")
        parser.exit()


def build_parser(name: str | None, module: ModuleType | None) -> argparse.ArgumentParser:
    """The parser with every command's name, and the arguments of the one that was asked for."""
    parser = argparse.ArgumentParser(
        prog="peakshade", description="Plan, watch and review a day on a transportable satellite terminal."
    )
    parser.add_argument("--version", action=_Version, nargs=0, help="print the installed version and end")
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for command, summary in COMMANDS.items():
        if module is None or command != name:
            commands.add_parser(command, help=summary)
            continue
        asked = commands.add_parser(
            command,
            help=summary,
            description=module.SUMMARY,
            epilog=f"example: {module.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(asked)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command. Returns 0 when fine, 1 with a finding, 2 for a usage or config error."""
    words = list(sys.argv[1:] if argv is None else argv)
    name = next((word for word in words if not word.startswith("-")), None)
    try:
        module = module_with_extra(f"agent.commands.{name}", str(name)) if name in COMMANDS else None
        args = build_parser(name, module).parse_args(words)
        if module is None:
            raise AssertionError("argparse accepts only known commands")
        code = int(module.run(args))
        sys.stdout.flush()
        return code
    except BrokenPipeError:
        # Whoever read has enough (`| head`); Python would complain once more when it closes the stream.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except UsageError as error:
        print(f"peakshade {name}: {error}", file=sys.stderr)
        return 2
