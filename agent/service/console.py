"""The terminal window around a running agent: log, and a line for each alert event."""

import logging
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from agent.records import AlertEvent


def log_to_terminal() -> None:
    """The agent's own log to standard error; of the libraries only errors."""
    logging.basicConfig(level=logging.WARNING, format="%(asctime)s %(levelname)s %(message)s")
    logging.getLogger("agent").setLevel(logging.INFO)


def say(line: str) -> None:
    """A line for the user, at once."""
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


def event_printer(time_zone: str) -> Callable[[Sequence[AlertEvent]], None]:
    """Prints events as they come, in the site's time."""
    zone = ZoneInfo(time_zone)

    def show(events: Sequence[AlertEvent]) -> None:
        for event in events:
            say(event_line(event, zone))

    return show


def event_line(event: AlertEvent, zone: ZoneInfo) -> str:
    """When, which rule, how grave, and what to do or why."""
    moment = datetime.fromtimestamp(event.unix_s, UTC).astimezone(zone)
    words = event.action or " ".join(event.evidence[:1])
    return f"{moment:%H:%M:%S}  {event.rule:<14}{event.severity:<8}{event.state:<13}{words}"
