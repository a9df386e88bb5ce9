"""The one writer of the store. Every method is one transaction: on return it is on the disk."""

import json
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from hashlib import blake2b
from math import floor
from pathlib import Path

from pydantic import TypeAdapter

from agent.config import KEEP_RAW_DAYS
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_to_json
from agent.records import AlertEvent, AnyReading, JsonValue, Situation
from agent.store.ageing import AT_LEAST_EVERY_S, age, last_seq
from agent.store.opening import open_for_writing
from agent.store.rollups import MINUTE_S, add_to_minutes
from agent.store.schema import own_fields
from agent.store.sealing import sealed
from agent.store.shown import shown_situation
from agent.wording import Codes

# A broker may redeliver what waited for a day; a message that is older and identical is not expected.
REMEMBER_MESSAGES_S = 2 * 86_400.0
FORGET_EVERY_S = 3600.0
# When nothing is old enough to be packed.
REST_S = 60.0
# Enough to see what a device does wrong, without a faulty one filling the disk.
KEEP_REJECTED = 10_000
KEEP_PAYLOAD_BYTES = 4096
DIGEST_BYTES = 16
# Of one statement; SQLite's own limit is far higher, and one text of statement serves most groups.
MAX_VARIABLES = 500

_JOB = TypeAdapter(Job)
_SITUATION = TypeAdapter(Situation)
_FIGURES = TypeAdapter(Mapping[str, float])
_CODES = TypeAdapter(Codes)


@dataclass(slots=True)
class Arrival:
    """A message that could be read. `reading.unix_s` is the time its sender claims."""

    topic: str
    payload: bytes
    kind: str
    reading: AnyReading
    received_unix_s: float


@dataclass(frozen=True, slots=True)
class Refusal:
    """A message that could not be read, and why."""

    topic: str
    payload: bytes
    reason: str
    received_unix_s: float


@dataclass(slots=True)
class Stored:
    """A reading as stored: `seq` is its place in the order over all kinds."""

    seq: int
    kind: str
    reading: AnyReading


Stamp = Callable[[AnyReading, float], AnyReading]


class StoreWriter:
    """Writes for one terminal; several terminals' agents may take turns on one file."""

    def __init__(
        self, connection: sqlite3.Connection, terminal: str, keep_raw_days: int = KEEP_RAW_DAYS
    ) -> None:
        self._connection = connection
        self.terminal = terminal
        self._keep_raw_days = keep_raw_days
        self._forgot_unix_s = 0.0
        self._aged_unix_s = 0.0

    @classmethod
    def open(
        cls, path: Path, terminal: str, now_unix_s: float, keep_raw_days: int = KEEP_RAW_DAYS
    ) -> "StoreWriter":
        """Raises StoreError with what stands in the way."""
        return cls(open_for_writing(path, now_unix_s), terminal, keep_raw_days)

    def close(self) -> None:
        """Fold the write-ahead log into the file and let go of it."""
        self._connection.close()

    def copy_to(self, path: Path) -> None:
        """The whole store as another file, which is nobody else's to read."""
        path.unlink(missing_ok=True)
        path.touch(mode=0o600)
        self._connection.execute("VACUUM INTO ?", (str(path),))

    @property
    def connection(self) -> sqlite3.Connection:
        """For reading back at the start, before anything is written."""
        return self._connection

    def add(self, messages: Sequence[Arrival | Refusal], stamp: Stamp) -> list[Stored]:
        """Store the messages in their order and return the readings that are new.

        `stamp` gives a new reading, with its receipt time, the time the engine uses. A message with topic and
        payload of an earlier one is a redelivery and changes nothing.
        """
        with self._transaction():
            new = self._new_readings([one for one in messages if isinstance(one, Arrival)], stamp)
            self._add_rejected([one for one in messages if isinstance(one, Refusal)])
            if messages:
                self._forget(messages[-1].received_unix_s)
        return new

    def add_events(
        self,
        events: Iterable[AlertEvent],
        situations: Sequence[Situation],
        wall_unix_s: float,
        offset_s: float = 0.0,
    ) -> None:
        """Store what the engine said; events that are stored already stay as they are.

        The latest situation is stored by the computer's clock, which is `offset_s` ahead of the engine's.
        """
        with self._transaction():
            self._connection.executemany(
                "INSERT OR IGNORE INTO alert_event (terminal, unix_s, rule, severity, state, cause, action,"
                " evidence, figures, deadline_unix_s, confidence, said)"
                " VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                [self._event_row(event) for event in events],
            )
            self._connection.executemany(
                "INSERT OR IGNORE INTO situation_minute VALUES (?, ?, ?)",
                [
                    (self.terminal, floor(one.unix_s / MINUTE_S) * MINUTE_S, _text(_FIGURES, one.figures))
                    for one in situations
                ],
            )
            for latest in situations[-1:]:
                body = _SITUATION.dump_json(shown_situation(latest, offset_s)).decode()
                self._connection.execute(
                    "INSERT OR REPLACE INTO situation VALUES (?, ?, ?, ?)",
                    (self.terminal, latest.unix_s, wall_unix_s, body),
                )

    def save_snapshot(self, seq: int, unix_s: float, digest: str, snapshot: Mapping[str, JsonValue]) -> None:
        """Keep the engine's state after the reading `seq`; `digest` is that of the plan and rules."""
        body = json.dumps(snapshot)
        with self._transaction():
            self._connection.execute(
                "INSERT OR REPLACE INTO engine_snapshot VALUES (?, ?, ?, ?, ?)",
                (self.terminal, seq, unix_s, sealed(digest, body), body),
            )

    def save_inputs(self, states: Sequence[JsonValue]) -> None:
        """Keep how each input that the agent reads by itself fares, and each way out of alerts."""
        with self._transaction():
            self._connection.execute(
                "INSERT OR REPLACE INTO input_state VALUES (?, ?)", (self.terminal, json.dumps(states))
            )

    def begin_forwarding(self, base: int, body: str) -> None:
        """Keep how far this store was forwarded, for the first time; `base` names the store from then on."""
        with self._transaction():
            self._connection.execute("DELETE FROM forwarded WHERE terminal = ?", (self.terminal,))
            self._connection.execute("INSERT INTO forwarded VALUES (?, ?, ?)", (base, self.terminal, body))

    def save_forwarded(self, base: int, body: str) -> None:
        """Keep how far the store of this name was forwarded; nothing where it was replaced by another."""
        with self._transaction():
            self._connection.execute(
                "UPDATE forwarded SET body = ? WHERE base = ? AND terminal = ?", (body, base, self.terminal)
            )

    def save_plan(self, job: Job, plan: LinkPlan, digest: str) -> None:
        """Keep job and plan for the dashboard and the report."""
        with self._transaction():
            self._connection.execute(
                "INSERT OR REPLACE INTO plan VALUES (?, ?, ?, ?)",
                (self.terminal, digest, _JOB.dump_json(job).decode(), json.dumps(plan_to_json(plan))),
            )

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            self._connection.execute("COMMIT")
        except BaseException:
            # A full disk has rolled back on its own already.
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            raise

    def _new_readings(self, arrivals: Sequence[Arrival], stamp: Stamp) -> list[Stored]:
        unseen = self._unseen(arrivals)
        if not unseen:
            return []
        first = last_seq(self._connection) + 1
        new: list[Stored] = []
        rows: dict[str, list[tuple[object, ...]]] = {}
        for seq, arrival in enumerate(unseen, start=first):
            stored = Stored(seq, arrival.kind, stamp(arrival.reading, arrival.received_unix_s))
            new.append(stored)
            rows.setdefault(arrival.kind, []).append(self._reading_row(stored, arrival.received_unix_s))
        for kind, kind_rows in rows.items():
            self._connection.executemany(_insert(kind), kind_rows)
        add_to_minutes(self._connection, self.terminal, ((one.kind, one.reading) for one in new))
        return new

    def _unseen(self, arrivals: Sequence[Arrival]) -> list[Arrival]:
        """The arrivals that are no redeliveries, which are remembered from now on."""
        by_digest: dict[bytes, Arrival] = {}
        for arrival in arrivals:
            by_digest.setdefault(_digest(arrival), arrival)
        for digest in self._seen(list(by_digest)):
            del by_digest[digest]
        self._connection.executemany(
            "INSERT INTO seen VALUES (?, ?)",
            [(digest, arrival.received_unix_s) for digest, arrival in by_digest.items()],
        )
        return list(by_digest.values())

    def _seen(self, digests: Sequence[bytes]) -> list[bytes]:
        found: list[bytes] = []
        for start in range(0, len(digests), MAX_VARIABLES):
            some = digests[start : start + MAX_VARIABLES]
            marks = ", ".join("?" * len(some))
            rows = self._connection.execute(f"SELECT digest FROM seen WHERE digest IN ({marks})", some)
            found += (digest for (digest,) in rows)
        return found

    def _forget(self, now_unix_s: float) -> None:
        if now_unix_s - self._forgot_unix_s >= FORGET_EVERY_S:
            self._connection.execute(
                "DELETE FROM seen WHERE received_unix_s < ?", (now_unix_s - REMEMBER_MESSAGES_S,)
            )
            self._forgot_unix_s = now_unix_s
        if now_unix_s - self._aged_unix_s >= AT_LEAST_EVERY_S:
            more = age(self._connection, self.terminal, now_unix_s, self._keep_raw_days)
            self._aged_unix_s = now_unix_s if more else now_unix_s + REST_S

    def _add_rejected(self, refusals: Sequence[Refusal]) -> None:
        if not refusals:
            return
        self._connection.executemany(
            "INSERT INTO rejected (received_unix_s, topic, payload, reason) VALUES (?, ?, ?, ?)",
            [
                (one.received_unix_s, one.topic, one.payload[:KEEP_PAYLOAD_BYTES], one.reason)
                for one in refusals
            ],
        )
        self._connection.execute(
            "DELETE FROM rejected WHERE id <= (SELECT max(id) FROM rejected) - ?", (KEEP_REJECTED,)
        )

    def _reading_row(self, stored: Stored, received_unix_s: float) -> tuple[object, ...]:
        reading = stored.reading
        extra = json.dumps(dict(reading.extra), ensure_ascii=False) if reading.extra else None
        own = (getattr(reading, name) for name in _own_names(stored.kind))
        return (
            stored.seq,
            self.terminal,
            reading.unix_s,
            received_unix_s,
            reading.sent_unix_s,
            extra,
            *own,
        )

    def _event_row(self, event: AlertEvent) -> tuple[object, ...]:
        return (
            self.terminal,
            event.unix_s,
            event.rule,
            event.severity,
            event.state,
            event.cause,
            event.action,
            json.dumps(event.evidence, ensure_ascii=False),
            _text(_FIGURES, event.figures),
            event.deadline_unix_s,
            event.confidence,
            _CODES.dump_json(event.said).decode(),
        )


def _text(adapter: TypeAdapter[Mapping[str, float]], figures: Mapping[str, float]) -> str:
    return adapter.dump_json(figures).decode()


def _digest(arrival: Arrival) -> bytes:
    return blake2b(arrival.payload, digest_size=DIGEST_BYTES, key=_key(arrival.topic)).digest()


@cache
def _key(topic: str) -> bytes:
    """BLAKE2 takes keys of up to 64 bytes, so the topic is digested first."""
    return blake2b(topic.encode(), digest_size=DIGEST_BYTES).digest()


@cache
def _own_names(kind: str) -> tuple[str, ...]:
    return tuple(own_fields(kind))


@cache
def _insert(kind: str) -> str:
    names = ("seq", "terminal", "unix_s", "received_unix_s", "sent_unix_s", "extra", *_own_names(kind))
    columns = ", ".join(f'"{name}"' for name in names)
    return f'INSERT INTO "{kind}" ({columns}) VALUES ({", ".join("?" * len(names))})'
