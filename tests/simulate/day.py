"""One simulated day: the same scenario and seed give the same readings."""

from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from agent.records import KINDS, AnyReading
from agent.replay.job_toml import job_toml
from agent.replay.labels import Label
from agent.replay.sessions import Session
from tests.simulate.faults import with_faults
from tests.simulate.labelling import labels_of, limit_unix_s
from tests.simulate.physics import physical_day
from tests.simulate.scenario import Scenario
from tests.simulate.sensing import readings_of

HEADING = "Invented: no such site, satellite or terminal."


@dataclass(frozen=True, slots=True, kw_only=True)
class SimulatedDay:
    """Readings in the engine's order, labels, and the files' texts.

    `limit_unix_s` is when the transmitter would reach its limit if nobody shaded it, None if never.
    """

    scenario: Scenario
    readings: tuple[AnyReading, ...]
    labels: tuple[Label, ...]
    config_text: str
    limit_unix_s: float | None

    def session(self) -> Session:
        """The day as a session that `write_session` writes."""
        job = self.scenario.job
        return Session(
            title=self.scenario.title,
            terminal=job.terminal,
            start_unix_s=job.day.start_unix_s,
            end_unix_s=job.day.end_unix_s,
            provenance="invented",
            story=self.scenario.story,
            config_text=self.config_text,
            job=job,
            readings=self.readings,
            labels=self.labels,
        )


def simulate_day(scenario: Scenario, seed: int) -> SimulatedDay:
    """Simulate the day; everything random comes from `seed`."""
    rng = np.random.default_rng(seed)
    day = physical_day(scenario, rng)
    by_kind = with_faults(readings_of(scenario, day, rng), scenario.episodes, scenario.job.day.start_unix_s)
    readings = [reading for kind in KINDS for reading in by_kind.get(kind, [])]
    readings.sort(key=attrgetter("unix_s"))
    return SimulatedDay(
        scenario=scenario,
        readings=tuple(readings),
        labels=labels_of(scenario, day),
        config_text=job_toml(scenario.job, HEADING),
        limit_unix_s=limit_unix_s(scenario, day),
    )
