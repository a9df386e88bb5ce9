"""Decides what a rule is made of: one record that holds all that there is to say about it.

A clause raises its rule when all its terms hold. A term compares a feature with a parameter of the rule or
with a plain number. An unknown feature (NaN) holds nothing.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

from agent.records import Cause, NoteKind, Severity
from agent.watch.feature_stage import View
from agent.watch.features import Features
from agent.wording import Said

FLAG = 0.5  # features that are flags are 0 or 1


@dataclass(frozen=True, slots=True)
class Parameter:
    """One number of a rule; `name` is "rule.key". `reason` says why this value."""

    name: str
    value: float
    unit: str
    low: float
    high: float
    reason: str


@dataclass(frozen=True, slots=True)
class Term:
    """`feature` on that side of `threshold`: a parameter's full name, or a number with nothing to tune."""

    feature: str
    side: Literal[">=", "<="]
    threshold: str | float


@dataclass(frozen=True, slots=True)
class Clause:
    """Raises its rule at this severity."""

    severity: Severity
    terms: tuple[Term, ...]


@dataclass(frozen=True, slots=True)
class Scored:
    """Which labels the rule is to find, and how far outside of one its alert still belongs to it.

    `early_s` is for rules that warn ahead, `late_s` for the time that filters need to let go.
    """

    cause: Cause
    early_s: float
    late_s: float


@dataclass(frozen=True, slots=True)
class NotScored:
    """Why no label says when the rule should have spoken."""

    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """One rule, whole: what lacks a part, or names something that is not there, does not import.

    While a flag of `inhibitions` stands (with its reason), the rule is not raised; a standing alert stays as
    it is. A standing alert clears when all terms of one of `clearing` have held for the clear hold, and, where it
    rests on a confidence, when those of `doubt` have held for a minute. `deeds` are the notes by which the
    crew says that it did what the rule asked for.
    """

    name: str
    label: str
    parameters: tuple[Parameter, ...]
    clauses: tuple[Clause, ...]
    clearing: tuple[tuple[Term, ...], ...]
    doubt: tuple[Term, ...]
    inhibitions: Mapping[str, str]
    cause: Callable[[View], Cause]
    headline: Callable[[View], Said]
    action: Callable[[View], Said]
    evidence: Callable[[View], tuple[Said, ...]]
    figures: Callable[[View], Mapping[str, float]]
    deadline_unix_s: Callable[[View], float | None]
    ending: Callable[[View, float], tuple[Said, ...]]
    confidence: Callable[[View], float | None]
    deeds: tuple[NoteKind, ...]
    scoring: Scored | NotScored

    def __post_init__(self) -> None:
        """Raises ValueError naming the rule and what is wrong with it."""
        for fault in self._faults():
            raise ValueError(f"rule {self.name}: {fault}")

    def _faults(self) -> Iterator[str]:
        keys = {parameter.name for parameter in self.parameters}
        yield from (f"{name} is to be named {self.name}.key" for name in sorted(keys) if not self._owns(name))
        timing_keys = {f"{self.name}.{key}" for key in ("hold_s", "clear_hold_s", "repeat_s")}
        yield from (f"parameter {name} is missing" for name in sorted(timing_keys - keys))
        for one in self.parameters:
            if not (one.low <= one.value <= one.high and one.reason):
                yield f"{one.name} = {one.value} needs a reason and a place from {one.low} to {one.high}"
        if not (self.label and self.clauses and self.clearing):
            yield "label, clauses and clearing must not be empty"
        terms = [term for clause in self.clauses for term in clause.terms]
        terms += [term for clause in (*self.clearing, self.doubt) for term in clause]
        named = {term.feature for term in terms} | set(self.inhibitions)
        yield from (f"there is no feature {name}" for name in sorted(named - set(Features._fields)))
        used = {term.threshold for term in terms if isinstance(term.threshold, str)}
        yield from (f"there is no parameter {name}" for name in sorted(used - keys) if self._owns(name))
        yield from (f"no term reads {name}" for name in sorted(keys - timing_keys - used))

    def _owns(self, parameter: str) -> bool:
        return parameter.startswith(f"{self.name}.")


def timing(
    rule: str, hold_s: float, clear_hold_s: float, repeat_s: float, reason: str
) -> tuple[Parameter, ...]:
    """The three times that every rule has; `reason` is that of the hold."""
    gone, again = "the condition must be gone this long", "not raised again sooner after it cleared"
    return (
        Parameter(f"{rule}.hold_s", hold_s, "s", 0.0, 7200.0, reason),
        Parameter(f"{rule}.clear_hold_s", clear_hold_s, "s", 0.0, 7200.0, gone),
        Parameter(f"{rule}.repeat_s", repeat_s, "s", 0.0, 86_400.0, again),
    )


def at_least(feature: str, threshold: str | float) -> Term:
    """The feature is no less than the threshold."""
    return Term(feature, ">=", threshold)


def at_most(feature: str, threshold: str | float) -> Term:
    """The feature is no more than the threshold."""
    return Term(feature, "<=", threshold)


def no_deadline(view: View) -> None:
    """For rules that know of no moment by which something has to be done."""


def no_confidence(view: View) -> None:
    """For rules that weigh no causes."""


def over(view: View, lasted_s: float) -> tuple[Said, ...]:
    """How the alerts of most rules end."""
    return (Said("over", {"lasted_s": lasted_s}),)
