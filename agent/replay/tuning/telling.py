"""A tuning's result in lines for the terminal window, and as JSON. Pure."""

from collections.abc import Iterator, Sequence

from agent.records import JsonValue
from agent.replay.compare_text import comparison_json, comparison_text
from agent.replay.session_time import SiteClock
from agent.replay.tuning.choice import OBJECTIVE, PRESENT, Figures, HeldOut, figures
from agent.replay.tuning.proposal import words
from agent.replay.tuning.sets import changes_of
from agent.replay.tuning.sweep import Tuned

SHOWN_CHANGES = 3


def figures_of(tuned: Tuned, index: int) -> Figures:
    """One set over all sessions."""
    return figures([(part, index) for part in tuned.tallies])


def held_out_sum(tuned: Tuned) -> tuple[Figures, Figures] | None:
    """All left-out sessions together: with the sets chosen without them, and with the present rules."""
    if not tuned.held_out:
        return None
    chosen = figures([(tuned.tallies[one.session], one.chosen) for one in tuned.held_out])
    return chosen, figures_of(tuned, PRESENT)


def warning(tuned: Tuned) -> str | None:
    """What speaks against accepting the proposal; None where nothing does."""
    held = held_out_sum(tuned)
    if held is None:
        return "One session cannot be left out: nothing says how the proposal does on another day."
    chosen, present = held
    if chosen.found < present.found or chosen.false_alarms > present.false_alarms:
        return "On sessions left out of the choice it did worse than the present rules: better keep those."
    return None


def tuned_text(tuned: Tuned, names: Sequence[str], clocks: Sequence[SiteClock]) -> Iterator[str]:
    """Everything but the rules file; `names` and `clocks` of the sessions."""
    present = figures_of(tuned, PRESENT)
    sets = tuned.rules.n_sets
    yield f"{len(names)} sessions, {present.hours:.1f} h, {present.episodes} episodes; {sets} sets"
    yield f"Chosen: {OBJECTIVE.format(limit=tuned.limit)}."
    yield ""
    yield from _curve_text(tuned)
    yield ""
    yield from _held_out_text(tuned, names)
    yield ""
    if not tuned.proposal.changes:
        yield "No set is better than the present rules."
        return
    yield f"Proposed: {words(tuned.proposal.proposed)}"
    yield f"Present:  {words(tuned.proposal.present)}"
    for name, clock, differences in zip(names, clocks, tuned.differences, strict=True):
        yield name
        yield from comparison_text(differences, clock, ("present", "proposed"))


def _curve_text(tuned: Tuned) -> Iterator[str]:
    yield "  false alarms an hour      found    recall  mean delay  set"
    rows = sorted({*tuned.curve, PRESENT, tuned.chosen}, key=lambda index: _order(tuned, index))
    for index in rows:
        one = figures_of(tuned, index)
        yield (
            f"  {_number(one.false_alarms_per_hour, '.3f'):>20}{f'{one.found} of {one.episodes}':>11}"
            f"{_number(one.recall, '.0%'):>10}{_minutes(one):>12}  {_set_words(tuned, index)}"
        )


def _order(tuned: Tuned, index: int) -> tuple[int, int, int]:
    one = figures_of(tuned, index)
    return one.false_alarms, one.found, index


def _set_words(tuned: Tuned, index: int) -> str:
    if index == PRESENT:
        return "PRESENT RULES" + (", chosen" if tuned.chosen == PRESENT else "")
    changes = changes_of(tuned.rules, index)
    shown = ", ".join(f"{name} {value:g}" for name, value in list(changes.items())[:SHOWN_CHANGES])
    more = f" and {len(changes) - SHOWN_CHANGES} more" if len(changes) > SHOWN_CHANGES else ""
    return ("CHOSEN " if index == tuned.chosen else "") + shown + more


def _number(value: float | None, form: str) -> str:
    return "-" if value is None else format(value, form)


def _minutes(one: Figures) -> str:
    return "-" if one.mean_delay_s is None else f"{one.mean_delay_s / 60.0:.1f} min"


def _held_out_text(tuned: Tuned, names: Sequence[str]) -> Iterator[str]:
    """How a choice does on a session that it did not see."""
    held = held_out_sum(tuned)
    if held is None:
        yield f"{warning(tuned)}"
        return
    yield "Each session left out once, the set chosen on the others:"
    for one in tuned.held_out:
        same = one.figures == one.present
        beside = "as the present rules" if same else f"present rules: {words(one.present)}"
        yield f"  {names[one.session]}: {words(one.figures)} ({beside})"
    yield f"  all: {words(held[0])}"
    yield f"  present rules: {words(held[1])}"
    yield f"  {warning(tuned) or 'The choice holds on sessions that it did not see.'}"


def tuned_json(tuned: Tuned, names: Sequence[str], file: str | None) -> dict[str, JsonValue]:
    """The result with the curve and every set's point, for other programs."""
    held = held_out_sum(tuned)
    every = [figures_of(tuned, index) for index in range(tuned.rules.n_sets)]
    return {
        "sessions": list(names),
        "objective": OBJECTIVE.format(limit=tuned.limit),
        "limit_false_alarms_per_hour": tuned.limit,
        "present": _figures_json(every[PRESENT]),
        "curve": [_set_json(tuned, index) for index in tuned.curve],
        "chosen": _set_json(tuned, tuned.chosen),
        "points": {
            "false_alarms_per_hour": [one.false_alarms_per_hour for one in every],
            "recall": [one.recall for one in every],
            "mean_delay_s": [one.mean_delay_s for one in every],
        },
        "held_out": {
            "sessions": [_held_json(tuned, one, names) for one in tuned.held_out],
            "all": None if held is None else _figures_json(held[0]),
            "present": None if held is None else _figures_json(held[1]),
        },
        "warning": warning(tuned),
        "proposal": {
            "file": file,
            "changes": dict(tuned.proposal.changes),
            "figures": _figures_json(tuned.proposal.proposed),
            "without": {name: _figures_json(one) for name, one in tuned.proposal.without.items()},
        },
        "differences": {
            name: comparison_json(one) for name, one in zip(names, tuned.differences, strict=True)
        },
    }


def _set_json(tuned: Tuned, index: int) -> JsonValue:
    changes: dict[str, JsonValue] = {**changes_of(tuned.rules, index)}
    return {"changes": changes, "figures": _figures_json(figures_of(tuned, index))}


def _held_json(tuned: Tuned, one: HeldOut, names: Sequence[str]) -> JsonValue:
    return {
        "session": names[one.session],
        "changes": {**changes_of(tuned.rules, one.chosen)},
        "figures": _figures_json(one.figures),
        "present": _figures_json(one.present),
    }


def _figures_json(one: Figures) -> JsonValue:
    return {
        "episodes": one.episodes,
        "found": one.found,
        "recall": one.recall,
        "false_alarms": one.false_alarms,
        "hours": one.hours,
        "false_alarms_per_hour": one.false_alarms_per_hour,
        "mean_delay_s": one.mean_delay_s,
    }
