"""The terminal window around a running agent: log, and a line for each alert event."""

import logging
import sys
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from agent.records import AlertEvent
from agent.watch.rules import in_words


class _Lines(logging.Formatter):
    """One clock for the whole window: that of the site, as the lines of the alerts have it."""

    def __init__(self, now: Callable[[], float], zone: ZoneInfo | None) -> None:
        super().__init__("%(asctime)s  %(levelname)s %(message)s")
        self._now = now
        self._zone = zone

    def formatTime(self, record: logging.LogRecord, datefmt: str | None = None) -> str:
        return f"{datetime.fromtimestamp(self._now(), UTC).astimezone(self._zone):%H:%M:%S}"


def log_to_terminal(time_zone: str | None = None, now: Callable[[], float] = time.time) -> None:
    """The agent's own log to standard error; of the libraries only errors.

    Times are those of `now` (Unix seconds) in this zone, else in the computer's.
    """
    handler = logging.StreamHandler()
    handler.setFormatter(_Lines(now, None if time_zone is None else ZoneInfo(time_zone)))
    logging.basicConfig(level=logging.WARNING, handlers=[handler])
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
    return f"{moment:%H:%M:%S}  {in_words(event.rule):<18}{event.severity:<8}{event.state:<13}{words}"
