"""Store and stamper under anything that can happen to them, one after the other, against a list in memory."""

import shutil
import tempfile
from itertools import pairwise
from pathlib import Path

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule

from agent.inputs.messages import kind_of, reading_topic, to_message
from agent.inputs.stamping import Stamper
from agent.records import AnyReading, ClockChange, Note, Power, Signal
from agent.store import ageing
from agent.store.reader import last_seq_before, readings_after
from agent.store.remains import remains
from agent.store.writer import REMEMBER_MESSAGES_S, Arrival, StoreWriter
from tests.live import TERMINAL

START_UNIX_S = 1_784_365_200.0
TOLERANCE_S = 120.0
SECONDS = st.integers(0, 40_000).map(lambda eighths: eighths / 8.0)


class StoreMachine(RuleBasedStateMachine):
    """The model is the list of what was stored; a copy of the files stands for a power cut."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.path = self.folder / "day.sqlite3"
        self.now_unix_s = START_UNIX_S
        self.model: list[AnyReading] = []
        self.seen: set[bytes] = set()
        self.sent: list[tuple[float, AnyReading]] = []
        self.piece_rows = ageing.PIECE_ROWS
        ageing.PIECE_ROWS = 3
        self.opened()

    def opened(self) -> None:
        """As the agent starts."""
        self.writer = StoreWriter.open(self.path, TERMINAL, self.now_unix_s)
        left = remains(self.writer.connection, TERMINAL)
        self.stamper = Stamper(TOLERANCE_S, offset_s=left.offset_s)
        if left.latest_unix_s is not None:
            self.stamper.latest_unix_s = left.latest_unix_s

    @rule(passed_s=SECONDS, claims=st.lists(SECONDS.map(lambda one: one - 2500.0), max_size=5))
    def readings_come(self, passed_s: float, claims: list[float]) -> None:
        self.now_unix_s += passed_s
        made: list[AnyReading] = []
        for index, claim_s in enumerate(claims):
            unix_s = self.now_unix_s + claim_s
            made.append((Signal(unix_s=unix_s, esno_db=9.0), Power(unix_s=unix_s, source="mains"))[index % 2])
        self.store(made)

    @rule(stepped_s=st.sampled_from([-7200.0, -3.0, 5.0, 86_400.0]))
    def clock_is_set(self, stepped_s: float) -> None:
        offset_s = self.stamper.offset_s + stepped_s
        unix_s = self.now_unix_s + offset_s
        self.store([ClockChange(unix_s=unix_s, stepped_s=stepped_s, offset_s=offset_s)])
        assert self.stamper.offset_s == offset_s

    @rule()
    def messages_come_again(self) -> None:
        remembered_from_unix_s = self.now_unix_s - 0.9 * REMEMBER_MESSAGES_S
        recent = [one for received_unix_s, one in self.sent if received_unix_s > remembered_from_unix_s]
        assert self.store(recent[-20:]) == 0

    @rule()
    def a_group_fails(self) -> None:
        before = self.stamper.latest_unix_s, self.stamper.offset_s

        def fail(reading: AnyReading, received_unix_s: float) -> AnyReading:
            self.stamper.stamp(reading, received_unix_s)
            raise RuntimeError("made to fail")

        self.now_unix_s += 1.0
        one = Note(unix_s=self.now_unix_s, kind="other")
        try:
            self.writer.add([arrived(one, self.now_unix_s)], fail)
        except RuntimeError:
            self.stamper.latest_unix_s, self.stamper.offset_s = before

    @rule(passed_s=SECONDS)
    def time_passes(self, passed_s: float) -> None:
        self.now_unix_s += passed_s
        self.stamper.tick(self.now_unix_s - 2.0)

    @rule(days=st.floats(1.0, 3.0))
    def readings_age(self, days: float) -> None:
        self.now_unix_s += days * 86_400.0
        self.writer.connection.execute("BEGIN")
        ageing.age(self.writer.connection, TERMINAL, self.stamper.latest_unix_s + days * 86_400.0, 90)
        self.writer.connection.execute("COMMIT")

    @rule()
    def the_agent_restarts(self) -> None:
        self.writer.close()
        self.opened()

    @rule()
    def the_power_is_cut(self) -> None:
        copy = Path(tempfile.mkdtemp()) / self.path.name
        for part in self.folder.glob(f"{self.path.name}*"):
            if not part.name.endswith("-shm"):
                shutil.copy(part, copy.with_name(part.name))
        self.writer.close()
        shutil.rmtree(self.folder)
        self.folder, self.path = copy.parent, copy
        self.opened()

    def store(self, readings: list[AnyReading]) -> int:
        """Add them, and to the model; how many were new."""
        arrivals = [arrived(one, self.now_unix_s) for one in readings]
        new = self.writer.add(arrivals, self.stamper.stamp)
        for one in arrivals:
            if one.payload not in self.seen:
                self.seen.add(one.payload)
                self.sent.append((self.now_unix_s, one.reading))
        self.model += [one.reading for one in new]
        return len(new)

    @invariant()
    def the_store_is_the_model(self) -> None:
        stored = list(readings_after(self.writer.connection, TERMINAL, 0))
        assert [one.reading for one in stored] == self.model
        assert [one.seq for one in stored] == list(range(1, len(stored) + 1))

    @invariant()
    def time_never_runs_back(self) -> None:
        assert all(before.unix_s <= after.unix_s for before, after in pairwise(self.model))
        if self.model:
            assert self.model[-1].unix_s <= self.stamper.latest_unix_s
            middle = self.model[len(self.model) // 2]
            earlier = sum(one.unix_s < middle.unix_s for one in self.model)
            assert last_seq_before(self.writer.connection, TERMINAL, middle.unix_s) == earlier

    def teardown(self) -> None:
        self.writer.close()
        shutil.rmtree(self.folder)
        ageing.PIECE_ROWS = self.piece_rows


def arrived(reading: AnyReading, received_unix_s: float) -> Arrival:
    """As it comes from the broker."""
    kind = kind_of(reading)
    return Arrival(reading_topic(TERMINAL, kind), to_message(reading), kind, reading, received_unix_s)


TestStore = StoreMachine.TestCase
TestStore.settings = settings(max_examples=20, stateful_step_count=25, deadline=None)
