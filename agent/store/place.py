"""Where a store is: a terminal's own file, or the desk's database. The same questions can be put to both."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

from agent.config_desk import DeskDatabase
from agent.extras import module_with_extra
from agent.store.opening import StoreError, open_for_reading
from agent.store.questions import Connection

# As libpq has it.
ADDRESSES = ("postgresql://", "postgres://")
HELP = "the agent's store, or the address of a desk's, such as postgresql://desk@host/peakshade"

Place = Path | DeskDatabase


def place_of(text: str) -> Place:
    """The store that somebody names."""
    return DeskDatabase(connect=text) if text.startswith(ADDRESSES) else Path(text)


@contextmanager
def open_place(place: Place) -> Iterator[Connection]:
    """A read-only connection that sees one state of the store; rows by place and by name.

    Raises StoreError where it cannot be read, UsageError where a library is missing.
    """
    if isinstance(place, DeskDatabase):
        opening = module_with_extra("agent.store.desk.opening", "the desk's store")
        with opening.open_desk(place) as connection:
            yield connection
        return
    with closing(open_for_reading(place)) as connection:
        connection.row_factory = sqlite3.Row
        try:
            connection.execute("BEGIN")
            yield connection
        except sqlite3.Error as error:
            raise StoreError(f"store {place}: cannot be read ({error}); is the agent running?") from error
