"""Decides how likely each cause is: the course's prior likelihood times what everything else says."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log
from typing import NamedTuple

from agent.watch.causes.judgement import CAUSES_OF
from agent.watch.causes.kernels import COURSES
from agent.watch.causes.names import LOSS_CAUSES, LossCause
from agent.watch.causes.sky import Factor
from agent.wording import Said

LEAST = 1e-6  # whose log-odds are taken
HALF = 0.5  # more likely than not


class Evidence(NamedTuple):
    """One observation that made a cause likelier (weight > 0, change of its log-odds) or less likely."""

    cause: LossCause
    weight: float
    what: Said


@dataclass(frozen=True, slots=True)
class Verdict:
    """The causes of a loss: what its course alone says of them, and the factors of everything else."""

    courses: tuple[float, ...]
    covered: float
    factors: tuple[Factor, ...]
    likely: Mapping[LossCause, float]

    @property
    def told_elsewhere(self) -> bool:
        """Whether anything but the downlink itself tells of the loss: gauge, uplink or received level."""
        told = {factor.what.code for factor in self.factors}
        return "sky-unknown" not in told or bool(told & {"uplink-lost", "level-fell"})

    def ranked(self) -> list[tuple[LossCause, float]]:
        """The causes of something missing, the likeliest first."""
        causes = [(cause, share) for cause, share in self.likely.items() if cause != "clear"]
        return sorted(causes, key=lambda one: -one[1])

    def evidence(self, cause: LossCause) -> Iterator[Evidence]:
        """What spoke for and against `cause`, in the order in which it was weighed."""
        likely = _by_course(self.courses, self.covered)
        yield Evidence(cause, _log_odds(likely[cause]), _course_said(self.courses, self.covered))
        for factor in self.factors:
            before = likely[cause]
            likely = _weighed(likely, factor)
            yield Evidence(cause, _log_odds(likely[cause]) - _log_odds(before), factor.what)


def verdict(courses: Iterable[float], covered: float, factors: Iterable[Factor]) -> Verdict:
    """Bayes' rule over the causes; `courses` and `covered` as in `Course`."""
    told, weighed = tuple(courses), tuple(factors)
    likely = _by_course(told, covered)
    for factor in weighed:
        likely = _weighed(likely, factor)
    return Verdict(told, covered, weighed, likely)


def at_once(courses: Sequence[float], cause: LossCause) -> float:
    """How much of what may be of this cause came at once, 0 to 1; `courses` as in `Course.shares`."""
    parts = {
        name: share * CAUSES_OF[name][cause].value
        for name, share in zip(COURSES, courses, strict=True)
        if cause in CAUSES_OF[name]
    }
    whole = sum(parts.values())
    return parts["still"] / whole if whole > 0.0 else 0.0


def _by_course(courses: tuple[float, ...], covered: float) -> dict[LossCause, float]:
    likely: dict[LossCause, float] = dict.fromkeys(LOSS_CAUSES, 0.0)
    for name, share in zip(COURSES, courses, strict=True):
        for cause, part in CAUSES_OF[name].items():
            likely[cause] += (1.0 - covered) * share * part.value
    likely["blockage"] += covered
    return likely


def _weighed(likely: Mapping[LossCause, float], factor: Factor) -> dict[LossCause, float]:
    weighed = {cause: share * factor.likelihood.get(cause, 1.0) for cause, share in likely.items()}
    whole = sum(weighed.values())
    return {cause: share / whole for cause, share in weighed.items()}


def _log_odds(share: float) -> float:
    return log(max(share, LEAST) / max(1.0 - share, LEAST))


def _course_said(courses: tuple[float, ...], covered: float) -> Said:
    if covered > HALF:
        return Said("course-covered")
    best = max(range(1, len(COURSES)), key=courses.__getitem__)
    return Said(f"course-{COURSES[best]}")
