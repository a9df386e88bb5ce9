"""Decides when a decision is due: every ten seconds of absolute time, whatever the readings' spacing."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import floor, isnan, nan
from typing import TypeVar

from agent.job import Job
from agent.link_plan import LinkPlan
from agent.records import AnyReading, ClockChange, Reading
from agent.watch.feature_stage import FeatureStage, View
from agent.watch.series import GRID_S

Heard = TypeVar("Heard", bound=Reading)


@dataclass(slots=True)
class DecisionGrid:
    """The feature stage, stepped from one decision to the next; `now_unix_s` is the latest time heard of."""

    stage: FeatureStage = field(default_factory=FeatureStage)
    decided_unix_s: float = nan
    now_unix_s: float = nan

    def due(self, unix_s: float) -> bool:
        """Whether `advance` to this time has anything to do besides remembering it."""
        return not unix_s < self.decided_unix_s + GRID_S

    def advance(self, unix_s: float, plan: LinkPlan, job: Job) -> Iterator[View]:
        """Views of the decisions due at `unix_s`; the first call only sets where the grid starts."""
        if isnan(self.decided_unix_s):
            self.decided_unix_s = floor(unix_s / GRID_S) * GRID_S
            self.now_unix_s = unix_s
        self.now_unix_s = max(self.now_unix_s, unix_s)
        while self.decided_unix_s + GRID_S <= unix_s:
            self.decided_unix_s += GRID_S
            yield self.stage.close(self.decided_unix_s, plan, job)

    def leap(self, change: ClockChange, plan: LinkPlan) -> None:
        """Nobody watched for so long before this: what is due until now is one decision, the next one."""
        latest_unix_s = floor(change.unix_s / GRID_S) * GRID_S - GRID_S
        if change.away_s > 0.0 and latest_unix_s > self.decided_unix_s:
            self.stage.away(self.decided_unix_s, latest_unix_s, plan)
            self.decided_unix_s = latest_unix_s

    def add(self, reading: AnyReading) -> AnyReading:
        """Take in a reading after advancing to its time; a late one counts as of now. Returns it as taken."""
        if reading.unix_s < self.now_unix_s:
            reading = self.as_of_now(reading)
        else:
            self.now_unix_s = reading.unix_s
        self.stage.add(reading)
        return reading

    def as_of_now(self, reading: Heard) -> Heard:
        """The reading, with the latest time heard of where its own is older."""
        return replace(reading, unix_s=self.now_unix_s) if reading.unix_s < self.now_unix_s else reading
