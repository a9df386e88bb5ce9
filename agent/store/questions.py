"""What the store's questions need of a connection: SQLite's own has it, the desk's is made to."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Protocol

Values = Sequence[Any] | Mapping[str, Any]


class Rows(Protocol):
    """The answer to a statement, row by row."""

    def fetchone(self) -> Any: ...

    def fetchall(self) -> list[Any]: ...

    def __iter__(self) -> Iterator[Any]: ...


class Connection(Protocol):
    """One state of a store; statements have `?` or `:name` for their values."""

    def execute(self, sql: str, parameters: Values = ..., /) -> Rows: ...
