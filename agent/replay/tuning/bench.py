"""Every set on every session, by whoever works, with a line that says how far it is."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO, TypeVar

from agent.replay.tuning.rows import Outcome
from agent.replay.tuning.tally import Tally
from agent.replay.tuning.work import Task, outcomes, tallied
from agent.replay.tuning.workers import Workers
from agent.watch.rule_set import RuleSet

ResultT = TypeVar("ResultT")
BAR_CHARACTERS = 30


@dataclass(frozen=True, slots=True)
class Bench:
    """The sessions to try on, who works, where results are kept, where progress is shown (None: nowhere)."""

    sessions: tuple[Path, ...]
    workers: Workers
    work: Path
    progress: TextIO | None = None

    def tallies(self, rules: RuleSet) -> list[Tally]:
        """How every set does on each session."""
        return self._all(tallied, rules, f"{rules.n_sets} sets")

    def outcomes(self, rules: RuleSet) -> list[list[list[Outcome]]]:
        """For each session what every set says."""
        return self._all(outcomes, rules, "events")

    def _all(self, work: Callable[[Task], ResultT], rules: RuleSet, what: str) -> list[ResultT]:
        tasks = [Task(session, rules, self.work) for session in self.sessions]
        done: dict[int, ResultT] = {}
        self._show(what, 0)
        for index, result in self.workers(work, tasks):
            done[index] = result
            self._show(what, len(done))
        return [done[index] for index in range(len(tasks))]

    def _show(self, what: str, count: int) -> None:
        if self.progress is None or not self.progress.isatty():
            return
        whole = len(self.sessions)
        bar = ("#" * (BAR_CHARACTERS * count // whole)).ljust(BAR_CHARACTERS, ".")
        end = "\n" if count == whole else ""
        self.progress.write(f"\r[{bar}] {count} of {whole} sessions, {what}{end}")
        self.progress.flush()
