"""Alerts, actions and levels as texts for the page."""

from collections.abc import Mapping, Sequence
from math import isnan

from agent.records import Cause, NoteKind
from agent.report.actions import Action
from agent.report.episodes import Episode
from agent.report.levels import PERCENTS
from agent.report.review import Review
from agent.report.words import NOT_MEASURED, number, span
from agent.watch.rules import in_words

SHOWN_PERCENTS = (1.0, 5.0, 95.0)
CAUSES: Mapping[Cause, str] = {
    "mispoint": "the dish had lost its aim",
    "rain": "rain on the path",
    "sun-pass": "the sun behind the satellite",
    "blockage": "something in the beam",
    "overheat": "heat at the equipment",
    "lan": "the local network",
    "network": "the network beyond the satellite",
    "power": "the power supply",
    "none": "not found",
}
ACTIONS: Mapping[NoteKind, str] = {
    "shade-on": "shade put up",
    "shade-off": "shade taken away",
    "peak-start": "dish peaked",
    "peak-done": "peaking done",
    "stream-start": "stream started",
    "stream-stop": "stream stopped",
    "rain": "rain seen",
    "rain-over": "rain seen to be over",
    "moved": "terminal moved",
    "accept-level": "level accepted",
    "undo": "note taken back",
    "other": "remark",
}


def episode_texts(review: Review) -> list[dict[str, object]]:
    """Every alert with its heading and its lines."""
    return [
        {"severity": one.severity, "heading": _heading(one, review), "lines": _lines(one, review)}
        for one in review.episodes
    ]


def _heading(one: Episode, review: Review) -> str:
    lasted = span(one.lasted_s(review.span.end_unix_s))
    end = (
        "still standing at the end"
        if one.end_unix_s is None
        else f"to {review.clock.with_utc(one.end_unix_s)}"
    )
    return f"{in_words(one.rule)} ({one.severity}): {review.clock.with_utc(one.start_unix_s)} {end}, {lasted}"


def _lines(one: Episode, review: Review) -> list[tuple[str, str]]:
    lines = [
        ("Cause", CAUSES[one.cause]),
        ("Evidence", "; ".join(one.evidence)),
        ("Advice", one.advice),
        ("Response", _response(one, review)),
    ]
    lines += [("Effect", f"{_deed(deed)}: {effect(deed)}") for deed in one.actions if deed.unit]
    return [*lines, ("Ending", "; ".join(one.ending))] if one.ending else lines


def _response(one: Episode, review: Review) -> str:
    signs = [] if one.acknowledged_unix_s is None else [(one.acknowledged_unix_s, "acknowledged")]
    signs += [(deed.start_unix_s, _deed(deed)) for deed in one.actions]
    if not signs:
        return "none on record"
    return "; ".join(
        f"{words} at {review.clock.with_utc(unix_s)}, after {span(unix_s - one.start_unix_s)}"
        for unix_s, words in sorted(signs)
    )


def _deed(deed: Action) -> str:
    where = f" ({deed.where})" if deed.where else ""
    return f"{ACTIONS[deed.kind]}{where}"


def effect(deed: Action) -> str:
    """Before, after and the difference; says so where one of them was not measured."""
    if not deed.unit:
        return ""
    if isnan(deed.change):
        before, after = number(deed.before, 1, deed.unit), number(deed.after, 1, deed.unit)
        return NOT_MEASURED if before == after else f"before {before}, after {after}"
    change = number(deed.change, 1, deed.unit, signed=True)
    return f"{number(deed.before)} to {number(deed.after)} {deed.unit} ({change})"


def action_rows(review: Review) -> list[Sequence[str]]:
    """When at the site and by UTC, what, by whom, with what effect."""
    return [
        (
            review.clock.clock(one.start_unix_s),
            review.clock.utc(one.start_unix_s).removesuffix(" UTC"),
            "; ".join(filter(None, (_deed(one), one.text))),
            one.by,
            effect(one),
        )
        for one in review.actions
    ]


def level_rows(review: Review) -> list[Sequence[str]]:
    """The rows of the table of Es/N0: what, down, up."""
    ways = (review.down, review.up)
    return [
        ("planned, clear sky", *(number(one.plan_db) for one in ways)),
        ("needed for the booked rate", *(number(one.required_db) for one in ways)),
        ("median", *(number(one.median_db) for one in ways)),
        ("median against plan", *(number(one.over_plan_db, signed=True) for one in ways)),
        ("median against need", *(number(one.margin_db, signed=True) for one in ways)),
        *(
            (f"{share:g} % of the readings below", *(number(one.percentiles_db[index]) for one in ways))
            for index, share in enumerate(PERCENTS)
            if share in SHOWN_PERCENTS
        ),
        ("lowest", *(number(one.lowest_db) for one in ways)),
    ]
