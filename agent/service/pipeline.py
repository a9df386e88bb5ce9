"""From messages to stored readings to alert events, and the same after a restart."""

import hashlib
import json
import logging
from collections.abc import Callable, Iterable, Sequence
from dataclasses import asdict, replace
from math import floor, isfinite
from pathlib import Path

from pydantic import ValidationError

from agent.inputs.messages import kind_of, to_message
from agent.inputs.stamping import AWAY_S, Stamper
from agent.job import Job
from agent.link_plan import LinkPlan
from agent.plan.plan_json import plan_to_json
from agent.records import ActiveAlert, AlertEvent, ClockChange, JsonValue, Situation
from agent.service.taps import Taps, without_second_taps
from agent.store import reader
from agent.store.remains import Remains, remains
from agent.store.rollups import MINUTE_S
from agent.store.shown import shown_alert
from agent.store.writer import Arrival, Refusal, Stored, StoreWriter
from agent.watch.engine import AlertEngine
from agent.watch.rule_set import RuleSet
from agent.watch.series import GRID_S

LOG = logging.getLogger(__name__)

# With other rules, or another plan, the engine learns the situation anew from so much of the past.
LEARN_FROM_S = 86_400.0


class Pipeline:
    """Owns the writer and the engine. All methods block and are called one at a time, in any thread.

    A call that failed, because the disk is full, may be made again: no reading enters the engine twice.
    """

    def __init__(
        self, writer: StoreWriter, engine: AlertEngine, stamper: Stamper, digest: str, seq: int
    ) -> None:
        """`seq` is that of the last reading that the engine has; `digest` that of its plan and rules."""
        self.stamper = stamper
        self._writer = writer
        self._terminal = writer.terminal
        self._engine = engine
        self._digest = digest
        self._seq = seq
        self._decided = -1
        self._minute = -1
        self._events: list[AlertEvent] = []
        self._situations: list[Situation] = []
        self._seen_through: Callable[[Situation], Situation] = lambda situation: situation
        self._to_restate = False
        self._taps: Taps = {}
        self.forgot = False  # what stood is in no store any more

    def seen_through(self, view: Callable[[Situation], Situation]) -> None:
        """From the next call on, store the engine's answer as `view` makes it, even if it is the same."""
        self._seen_through = view
        self._to_restate = True

    def add(self, messages: Sequence[Arrival | Refusal]) -> list[Stored]:
        """Store the messages; on return they are on the disk. Returns the readings that are new."""
        before = self.stamper.latest_unix_s, self.stamper.offset_s
        counting, taps = without_second_taps(messages, self._taps)
        try:
            new = self._writer.add(self._with_leaps(counting), self.stamper.stamp)
        except BaseException:
            # Nothing was stored, and the next try stamps the messages anew.
            self.stamper.latest_unix_s, self.stamper.offset_s = before
            raise
        self._taps = taps
        return new

    def _with_leaps(self, messages: Sequence[Arrival | Refusal]) -> Sequence[Arrival | Refusal]:
        """The messages, and before one that comes after a long absence a word of that."""
        if not messages or messages[-1].received_unix_s - self.stamper.latest_unix_s <= AWAY_S:
            return messages
        ahead = replace(self.stamper)
        found: list[Arrival | Refusal] = []
        for one in messages:
            if isinstance(one, Arrival):
                before = replace(ahead)
                change = before.leap(ahead.stamp(one.reading, one.received_unix_s).unix_s)
                found += [] if change is None else [_own(change, one.received_unix_s)]
            found.append(one)
        return found

    def catch_up(self, wall_unix_s: float) -> list[AlertEvent]:
        """Feed what was stored after the engine's last reading, and keep the state.

        Returns the events, which the last run may have left unpublished, and those of standing alerts.
        """
        tail = reader.readings_after(self._writer.connection, self._terminal, self._seq)
        events = self.feed(tail, wall_unix_s)
        self.save_snapshot()
        return events + [alert.event for alert in self._engine.situation().alerts]

    def learn(self, from_unix_s: float, alerts: Iterable[ActiveAlert]) -> None:
        """Take in the readings since then with rules or a plan that they were not judged by at the time.

        Of the events only those of alerts that stand now are kept: the others were never said. `alerts` stood
        when the engine's state was lost.
        """
        connection = self._writer.connection
        self._seq = reader.last_seq_before(connection, self._terminal, from_unix_s)
        for stored in reader.readings_after(connection, self._terminal, self._seq):
            self._engine.update(stored.reading)
            self._seq = stored.seq
        self._engine.carry(alerts)
        standing = [alert.event for alert in self._engine.situation().alerts]
        self._writer.add_events(standing, [], 0.0)

    def move_to(self, writer: StoreWriter, job: Job) -> None:
        """Go on with a new, empty store; the engine stays as it is."""
        self._writer, self._seq = writer, 0
        writer.save_plan(job, self._engine.plan, self._digest)
        self.carry_on(())

    def copy_to(self, path: Path) -> None:
        """All that is stored, into another file."""
        self._writer.copy_to(path)

    def reopen(self, writer: StoreWriter) -> None:
        """Go on with the same store in another file."""
        self._writer = writer

    def follow(self, job: Job, plan: LinkPlan, rules: RuleSet) -> None:
        """Go on with the plan of another day."""
        digest = engine_digest(job, plan, rules)
        self._writer.save_plan(job, plan, digest)
        self._engine.follow(plan)
        self._digest = digest
        self.save_snapshot()

    def remember(self, alerts: Iterable[ActiveAlert]) -> None:
        """Take up alerts that stood, by people's clock; those that stand again already stay as they are."""
        standing = {one.event.rule for one in self._engine.situation().alerts}
        offset_s = self.stamper.offset_s
        self._engine.carry(shown_alert(one, -offset_s) for one in alerts if one.event.rule not in standing)
        self._writer.add_events([one.event for one in self._engine.situation().alerts], [], 0.0)
        self.forgot, self._to_restate = False, True

    def carry_on(self, alerts: Iterable[ActiveAlert]) -> None:
        """Begin a new store with what stands; `alerts` are those that the engine itself does not know."""
        self._engine.carry(alerts)
        if isfinite(self.stamper.latest_unix_s):
            offset_s = self.stamper.offset_s
            change = ClockChange(unix_s=self.stamper.latest_unix_s, stepped_s=0.0, offset_s=offset_s)
            self.judge(self._writer.add([_own(change, change.unix_s)], lambda reading, _: reading))
        self._writer.add_events([alert.event for alert in self._engine.situation().alerts], [], 0.0)
        self._decided = -1

    def feed(self, new: Iterable[Stored], wall_unix_s: float) -> list[AlertEvent]:
        """Give stored readings to the engine; its events are on the disk on return."""
        return self.keep(wall_unix_s) if self.judge(new) else []

    def judge(self, new: Iterable[Stored]) -> bool:
        """Give stored readings to the engine; True where it has said something that is to be kept.

        Does not block for longer than the engine takes.
        """
        for stored in new:
            if stored.seq <= self._seq:
                continue
            self._events += self._engine.update(stored.reading)
            self._seq = stored.seq
            if self._passed_minute(stored.reading.unix_s):
                self._situations.append(self._engine.situation())
        return self._has_news()

    def tick(self, unix_s: float, wall_unix_s: float) -> list[AlertEvent]:
        """Tell the engine that it is this late; before the first reading there is nothing to tell."""
        if self._seq == 0:
            self._wait_for_readings(unix_s, wall_unix_s)
            return []
        if not self.stamper.holds(unix_s):
            change = self.stamper.leap(unix_s)
            if change is not None:
                self.judge(self._writer.add([_own(change, unix_s)], self.stamper.stamp))
            self._events += self._engine.advance(self.stamper.tick(unix_s))
        return self.keep(wall_unix_s) if self._has_news() else []

    def _wait_for_readings(self, unix_s: float, wall_unix_s: float) -> None:
        number = floor(unix_s / GRID_S)
        if number != self._decided or self._to_restate:
            self._to_restate = False
            waiting = replace(self._engine.situation(), unix_s=unix_s)
            self._writer.add_events([], [self._seen_through(waiting)], wall_unix_s, self.stamper.offset_s)
            self._decided = number

    def situation(self) -> Situation:
        """The engine's answer as of its last decision."""
        return self._engine.situation()

    def save_snapshot(self) -> None:
        """Keep the engine's state, so that a restart need not read the day again."""
        if self._seq > 0:
            self._writer.save_snapshot(
                self._seq, self.stamper.latest_unix_s, self._digest, self._engine.snapshot()
            )

    def save_inputs(self, states: Sequence[JsonValue]) -> None:
        """Keep how the inputs fare, for the pages."""
        self._writer.save_inputs(states)

    def begin_forwarding(self, base: int, body: str) -> None:
        """Keep how far the store was forwarded, for the first time."""
        self._writer.begin_forwarding(base, body)

    def save_forwarded(self, base: int, body: str) -> None:
        """Keep how far the store of this name was forwarded."""
        self._writer.save_forwarded(base, body)

    def close(self) -> None:
        """Let go of the store."""
        self._writer.close()

    def keep(self, wall_unix_s: float) -> list[AlertEvent]:
        """Write what the engine has said; where that fails it stays for the next call."""
        self._to_restate = False
        situations = [*self._situations, self._seen_through(self._engine.situation())]
        self._writer.add_events(self._events, situations, wall_unix_s, self.stamper.offset_s)
        self._decided = self._due()
        events, self._events, self._situations = self._events, [], []
        return events

    def _has_news(self) -> bool:
        stale = self._seq > 0 and (self._due() != self._decided or self._to_restate)
        return bool(self._events or self._situations or stale)

    def _due(self) -> int:
        """Number of the latest decision that is due."""
        return floor(self.stamper.latest_unix_s / GRID_S)

    def _passed_minute(self, unix_s: float) -> bool:
        minute = floor(unix_s / MINUTE_S)
        passed, self._minute = minute != self._minute, minute
        return passed


def _own(change: ClockChange, received_unix_s: float) -> Arrival:
    """What the agent itself has found, as a message."""
    if change.away_s:
        LOG.warning("nobody watched for %.0f min: the agent's time goes on after them", change.away_s / 60.0)
    return Arrival("", to_message(change), kind_of(change), change, received_unix_s)


def start_pipeline(
    writer: StoreWriter,
    job: Job,
    plan: LinkPlan,
    rules: RuleSet,
    tolerance_s: float,
    salvaged: Remains | None = None,
) -> Pipeline:
    """The pipeline as the last run left it: `catch_up` is still to be called.

    What the agent missed in between waits in the broker, so such readings may be as old as the last one.
    `salvaged` is what could be read of a damaged store, where `writer` has a new one.
    """
    digest = engine_digest(job, plan, rules)
    writer.save_plan(job, plan, digest)
    left = salvaged or remains(writer.connection, job.terminal)
    stamper = Stamper(tolerance_s, offset_s=left.offset_s)
    if left.latest_unix_s is not None:
        stamper.latest_unix_s = left.latest_unix_s
        stamper.link_lost(left.latest_unix_s)
    engine = None
    if left.snapshot is not None and left.snapshot.digest == digest:
        engine = _restored(job, plan, rules, left.snapshot)
    if salvaged is not None:
        pipeline = Pipeline(writer, engine or AlertEngine(job, plan, rules), stamper, digest, 0)
        pipeline.carry_on(() if engine is not None else salvaged.alerts)
        pipeline.forgot = engine is None and not salvaged.alerts
        return pipeline
    if engine is not None and left.snapshot is not None:
        return Pipeline(writer, engine, stamper, digest, left.snapshot.seq)
    pipeline = Pipeline(writer, AlertEngine(job, plan, rules), stamper, digest, 0)
    if (left.snapshot is not None or left.broken) and left.latest_unix_s is not None:
        pipeline.learn(left.latest_unix_s - LEARN_FROM_S, left.alerts if left.broken else ())
    return pipeline


def _restored(job: Job, plan: LinkPlan, rules: RuleSet, snapshot: reader.Snapshot) -> AlertEngine | None:
    try:
        return AlertEngine.restore(job, plan, rules, snapshot.body)
    except ValidationError as error:
        LOG.warning(
            "the engine's stored state is of another version (%s); reading the day again", error.title
        )
        return None


def engine_digest(job: Job, plan: LinkPlan, rules: RuleSet) -> str:
    """A digest of everything besides readings that the engine's decisions depend on."""
    inputs = {"job": asdict(job), "plan": plan_to_json(plan), "rules": rules.digest()}
    return hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()
