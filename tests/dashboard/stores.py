"""Store files for the pages, written by the agent's own writer."""

import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from agent.records import AlertEvent, AnyReading, Situation
from agent.store.writer import Arrival, StoreWriter
from tests.dashboard.scenes import NOW_UNIX_S, TERMINAL, morning

# What is written so far ahead of the computer's clock gives a page a clock that stands still; and pages of
# tests find nothing old or early that was not written days ago, however slow the computer is.
AHEAD_S = 43_200.0
NEVER_SILENT_S = 4.0 * AHEAD_S


@contextmanager
def writing(store: Path, terminal: str = TERMINAL) -> Iterator[StoreWriter]:
    """The writer; the file is let go of on the way out."""
    writer = StoreWriter.open(store, terminal, NOW_UNIX_S)
    yield writer
    writer.close()


def tell(
    store: Path,
    situation: Situation,
    *,
    written_wall_unix_s: float | None = None,
    terminal: str = TERMINAL,
    events: Iterable[AlertEvent] = (),
) -> None:
    """The situation with the morning before it, written at this time of the computer's clock.

    By default so late that the page's clock stands still.
    """
    wall_unix_s = time.time() + AHEAD_S if written_wall_unix_s is None else written_wall_unix_s
    with writing(store, terminal) as writer:
        writer.add_events(events, [*morning(), situation], wall_unix_s)


def measure(store: Path, kind: str, readings: Iterable[AnyReading], terminal: str = TERMINAL) -> None:
    """Readings that came in without delay."""
    arrivals = [
        Arrival(f"peakshade/{terminal}/{kind}", repr(reading).encode(), kind, reading, reading.unix_s)
        for reading in readings
    ]
    with writing(store, terminal) as writer:
        writer.add(arrivals, lambda reading, _received_unix_s: reading)
