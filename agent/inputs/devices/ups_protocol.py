"""The lines of a UPS server: commands and answers of RFC 9271. Pure."""

import shlex
from collections.abc import Sequence
from dataclasses import dataclass

# IANA service name "nut".
PORT = 3493
# What the error codes of RFC 9271 mean for the crew.
ADVICE = {
    "UNKNOWN-UPS": "no such UPS at the server; [[inputs.ups]] ups has to be one of its names",
    "DATA-STALE": "the server has lost the UPS; look at its cable and driver",
    "DRIVER-NOT-CONNECTED": "the server's driver is not running; start it",
    "ACCESS-DENIED": "the server does not let this computer in",
}


class UpsError(ValueError):
    """The server refuses, or does not speak the protocol; the text says what and what to do."""


@dataclass(frozen=True, slots=True)
class Variable:
    name: str
    value: str


def list_command(ups: str) -> bytes:
    """Asks for every variable of a UPS."""
    return f"LIST VAR {ups}\n".encode("ascii")


def is_last(line: str) -> bool:
    """Whether the answer to `list_command` ends with this line, as it does with one that is no part of it."""
    return not line.startswith(("BEGIN LIST VAR", "VAR "))


def variables(lines: Sequence[str]) -> list[Variable]:
    """The variables in a whole answer; raises UpsError."""
    refused = next((line for line in lines if line.startswith("ERR ")), None)
    if refused is not None:
        code = refused.split()[1] if len(refused.split()) > 1 else ""
        raise UpsError(f"ERR {code}: {ADVICE.get(code, 'the server refuses')}")
    return [_variable(line) for line in lines if not line.startswith(("BEGIN LIST VAR", "END LIST VAR"))]


def _variable(line: str) -> Variable:
    """`VAR <ups> <name> "<value>"`; quote and backslash are escaped by a backslash."""
    try:
        words = shlex.split(line)
    except ValueError:
        words = []
    if len(words) != 4 or words[0] != "VAR":
        raise UpsError(f'the server says {line[:60]!r}; expected VAR <ups> <name> "<value>"')
    return Variable(words[2], words[3])
